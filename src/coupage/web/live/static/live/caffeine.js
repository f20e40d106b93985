// What may have been swallowed today. It stays on this device: nobody else is told.
import { h, many } from "./parts.js";
import { recall, remember } from "./store.js";

const ONCE = 200, DAY = 400, SPIT = 0.2;

const today = () => new Date().toLocaleDateString("sv");

function tally() {
  try {
    const kept = JSON.parse(recall("swallowed") || "{}");
    return kept.day === today() ? kept : { day: today(), tables: {} };
  } catch {
    return { day: today(), tables: {} };
  }
}

export const spits = () => recall("spits") !== "no";

// Note how many spoonfuls this table came to; the day adds up all tables.
export function note(sheet) {
  const kept = tally();
  const here = (kept.tables[sheet.data.token.split("~")[0]] ??= { spoons: 0, low: 0, high: 0 });
  const fresh = sheet.model.tasted() - here.spoons;
  if (fresh <= 0) return;
  const share = spits() ? SPIT : 1;
  here.spoons += fresh;
  here.low += fresh * share * sheet.data.spoon.low;
  here.high += fresh * share * sheet.data.spoon.high;
  remember("swallowed", JSON.stringify(kept));
}

export function swallowed(sheet) {
  const tables = Object.values(tally().tables);
  const sum = (what) => tables.reduce((n, table) => n + table[what], 0);
  const [spoons, low, high] = [sum("spoons"), Math.round(sum("low")), Math.round(sum("high"))];
  const choice = (value, text) => h("label", { class: "mouth" }, h("input", {
    type: "radio", name: "mouth", checked: (value === "yes") === spits(),
    onchange: () => { remember("spits", value); sheet.draw(); },
  }), text);
  return h("section", { class: "caffeine stack", "aria-labelledby": "caffeine" },
    h("h2", { id: "caffeine" }, "Caffeine today, for you alone"),
    h("fieldset", { class: "mouths" }, h("legend", {}, "From now on I"), choice("yes", "spit"), choice("no", "swallow")),
    h("p", {}, h("strong", {}, `About ${low} to ${high} mg`), ` from ${many(spoons, "spoonful", "spoonfuls")}${high > DAY / 2 ? ". That is much: spit, and drink water" : ""}.`),
    h("p", { class: "help" }, `Counts one spoonful a cup and pass. No concern for healthy adults: ${ONCE} mg at once, ${DAY} mg in a day; in pregnancy ${ONCE} mg in a day (EFSA 2015). Other coffee, tea and cola count too.`),
    h("p", { class: "help" }, `Our own estimate: a spoonful of 5 to 7 mL holds ${sheet.data.spoon.low} to ${sheet.data.spoon.high} mg, if all caffeine of arabica (0.8 to 1.4 % by dry mass) goes into the water; with canephora about twice that; of what is spat out a fifth is taken to stay. It is kept on this device and sent nowhere.`),
  );
}
