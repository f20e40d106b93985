// The answer in words and figures, kept beside the picture: what it says, the picture draws.
import { chanceText, figure, madeOf, make, percent, say } from "./dom.js";

// Whether green on hand lasts: of every lot in the cup, or of one.
function lasts(limits, coffees, shares, weeklyKg) {
  if (!limits.lasting || !weeklyKg) return true;
  const wanted = limits.lastingWeeks * weeklyKg;
  const x = shares.map((share) => share / 1e6);
  const lots = new Map();
  x.forEach((share, n) => {
    if (!share) return;
    const { lot, greenKg, loss } = coffees[n];
    const line = lots.get(lot) ?? { need: 0, greenKg };
    line.need += share / (1 - loss);
    lots.set(lot, line);
  });
  const fine = [...lots.values()].map(({ need, greenKg }) => greenKg >= wanted * need * (1 - 1e-9));
  return limits.lasting === "one" ? fine.some(Boolean) : fine.every(Boolean);
}

export function broken(limits, coffees, shares, cost, currency, weeklyKg) {
  const inside = shares.filter((share) => share > 0);
  const said = [];
  if (inside.length > limits.mostCoffees) said.push(`${inside.length} coffees, at most ${limits.mostCoffees}`);
  shares.forEach((share, n) => {
    if (share > 0 && share < limits.leastShare) said.push(`${percent(share)} ${coffees[n].name}, at least ${percent(limits.leastShare)} of each`);
  });
  if (limits.costCap !== null && cost !== null && cost > limits.costCap + 1e-9) said.push(`costs ${cost.toFixed(2)}, at most ${limits.costCap.toFixed(2)} ${currency}/kg`);
  for (const { text, row, low, high } of limits.rows) {
    const share = shares.reduce((all, ppm, n) => all + (row[n] ? ppm : 0), 0);
    if (share < low || share > high) said.push(`${text}, it has ${percent(share)}`);
  }
  if (!lasts(limits, coffees, shares, weeklyKg)) said.push(limits.lastingText);
  return said;
}

export class Readout {
  constructor(root, data) {
    this.data = data;
    this.part = (name) => root.querySelector(`[data-${name}]`);
    this.spoken = null;
  }

  show(shares, profile, cost, makes) {
    const { coffees, currency, limits } = this.data;
    const chance = chanceText(profile.chance);
    this.part("answer").replaceChildren(`${madeOf(coffees, shares)} is on brief with a chance of `, make("strong", {}, chance), ".");
    say(this.part("chance"), chance);
    say(this.part("cost"), cost === null ? "no price" : cost.toFixed(2));
    say(this.part("cost-unit"), cost === null ? "" : `${currency}/kg`);
    say(this.part("makes"), Number.isFinite(makes.kg) ? Math.floor(makes.kg).toString() : "–");
    // The same beside the picture, where the figures are out of sight on a phone.
    say(this.part("strip-chance"), `${chance} on brief`);
    say(this.part("strip-cost"), cost === null ? "" : `${cost.toFixed(2)} ${currency}/kg`);
    say(this.part("strip-makes"), Number.isFinite(makes.kg) ? `${Math.floor(makes.kg)} kg` : "");
    const week = this.data.weeklyKg;
    const weeks = week ? `${(makes.kg / week).toFixed(1)} weeks at ${Number(week.toFixed(1))} kg a week; ` : "";
    say(this.part("makes-note"), makes.lot ? `${weeks}${makes.lot} ends first` : "");
    const faults = broken(limits, coffees, shares, cost, currency, this.data.weeklyKg);
    const note = this.part("limits");
    note.classList.toggle("off", faults.length > 0);
    say(note, faults.length ? `Outside the limits of the brief: ${faults.join("; ")}.` : "Inside all limits of the brief.");
  }

  // For screen readers, once a move has come to rest.
  speak(shares, profile, cost) {
    clearTimeout(this.spoken);
    this.spoken = setTimeout(() => {
      const parts = this.data.coffees.map((coffee, n) => (shares[n] ? `${figure(shares[n])} % ${coffee.name}` : "")).filter(Boolean);
      const price = cost === null ? "" : `, ${cost.toFixed(2)} ${this.data.currency} a kilogram`;
      say(this.part("live"), `${parts.join(", ")}: chance on brief ${chanceText(profile.chance)}${price}.`);
    }, 400);
  }
}
