// The blend triangle: the state, and what follows from every change of it.
import { Beliefs, costOf, makesOf } from "./beliefs.js";
import { Controls } from "./controls.js";
import { chanceText, draw, madeOf, make, percent, put, say } from "./dom.js";
import { Ground } from "./ground.js";
import { startHandle } from "./handle.js";
import { Marks, keyMark } from "./marks.js";
import { Panel } from "./panel.js";
import { place } from "./place.js";
import { Readout } from "./readout.js";
import { Shade } from "./shade.js";
import { WHOLE, atPoint, transfer, withShare } from "./shares.js";
import { Trace, address } from "./trace.js";

export class Triangle {
  constructor(root, data) {
    this.root = root;
    this.data = data;
    this.coffees = data.coffees;
    this.beliefs = new Beliefs(data);
    this.shares = [...data.shares];
    this.locks = this.shares.map(() => false);
    this.order = this.shares.map((_, n) => n);
    this.origin = null; // what a slide or drag began from
    this.trace = new Trace({ shares: this.shares });
    this.part = (name) => root.querySelector(`[data-${name}]`);
    this.shadeBy = this.part("shade-by");
    this.stepBy = this.part("step-by");
    this.build();
    this.change(this.shares);
  }

  get corners() {
    return this.order.slice(0, 3);
  }

  get step() {
    return Number(this.stepBy.value);
  }

  build() {
    const { data, part } = this;
    const svg = part("svg");
    this.ground = new Ground(svg);
    const service = data.points.find((point) => point.kind === "service");
    this.marks = new Marks(this.ground.points, data.points, this.coffees);
    this.handle = draw("g", { class: "handle", tabindex: 0, role: "slider", "aria-label": "Proposed recipe; arrow keys move it", "aria-valuemin": 0, "aria-valuemax": 100 },
      draw("circle", { class: "handle-target", r: 30 }), draw("circle", { class: "handle-halo", r: 13 }), draw("circle", { class: "handle-ring", r: 13 }), draw("circle", { class: "handle-dot", r: 3.5 }));
    svg.append(this.handle);
    this.shade = new Shade(part("canvas"), this.ground, part("scale"), this.beliefs);
    this.panel = new Panel(part("profile"), this.beliefs.attributes, service ? this.beliefs.profile(this.fractions(service.shares)) : null);
    this.readout = new Readout(this.root, data);
    this.controls = new Controls(part("coffees"), this.coffees, {
      slide: (i, ppm) => this.slide(i, ppm),
      slid: () => this.rest("slide"),
      type: (i, ppm) => this.take(withShare(this.shares, this.locks, i, ppm, this.step, this.corners), "All others are locked; unlock one first."),
      lock: (i) => this.lock(i),
      move: (i, to) => this.move(i, to),
      refuse: (text) => this.refuse(text),
    });
    startHandle(svg, this.handle, {
      drag: (weights) => this.drag(weights),
      dropped: () => this.rest(),
      step: (way, by) => this.stepHandle(way, by),
    });
    this.shadeBy.addEventListener("change", () => this.change(this.shares, { write: true }));
    part("undo").addEventListener("click", () => this.go(-1));
    part("redo").addEventListener("click", () => this.go(1));
    part("link-copy").addEventListener("click", () => this.copy());
    document.addEventListener("keydown", (event) => this.key(event));
    this.table();
    this.keyMarks();
  }

  fractions(shares) {
    return Float64Array.from(shares, (share) => share / WHOLE);
  }

  // --- every change -----------------------------------------------------------------------------

  change(shares, { write = false } = {}) {
    this.shares = shares;
    if (!this.frame) this.frame = requestAnimationFrame(() => this.show());
    if (write) this.write();
  }

  show() {
    const began = performance.now();
    this.frame = null;
    const { shares, corners } = this;
    const x = this.fractions(shares);
    const total = corners.reduce((all, n) => all + shares[n], 0);
    const cost = costOf(this.coffees, x);
    this.profile = this.beliefs.profile(x);
    this.cost = cost;
    const [hx, hy] = place(corners.map((n) => shares[n]));
    put(this.handle, { transform: `translate(${hx.toFixed(2)} ${hy.toFixed(2)})`, "aria-valuenow": shares[corners[0]] / 10_000, "aria-valuetext": `${madeOf(this.coffees, shares)}: chance on brief ${chanceText(this.profile.chance)}` });
    this.readout.show(shares, this.profile, cost, makesOf(this.coffees, x));
    this.panel.show(this.profile);
    this.controls.show(shares, this.locks, this.order, this.step);
    const frame = JSON.stringify([corners, total, this.shadeBy.value, corners.length < shares.length && shares.filter((_, n) => !corners.includes(n))]);
    if (frame !== this.wasFrame) {
      this.wasFrame = frame;
      this.ground.corners(this.coffees, corners, total);
      const rest = shares.reduce((all, share, n) => (corners.includes(n) || !share ? all : all + (this.coffees[n].cost ?? NaN) * share), 0) / WHOLE;
      const drawn = this.ground.costCap(corners.map((n) => this.coffees[n].cost), Number.isNaN(rest) ? null : rest, total / WHOLE, this.data.limits.costCap);
      this.part("cap-key").hidden = !drawn;
      this.marks.show(corners, shares, (point) => this.doubtAt(point));
      this.shade.want(this.shadeBy.value, shares, corners);
      say(this.part("caption"), this.shadeBy.value === "chance" ? "Shading: chance on brief" : `Shading: ${this.shadeBy.value}, believed mean`);
    }
    for (const button of ["undo", "redo"]) this.part(button).disabled = !(button === "undo" ? this.trace.canUndo : this.trace.canRedo);
    performance.measure("triangle frame", { start: began, end: performance.now() });
  }

  // Half the 90 % interval, in points: of the attribute that is shaded, or the mean over the brief's.
  doubtAt(point) {
    const profile = this.beliefs.profile(this.fractions(point.shares));
    const named = profile.attributes.filter((one) => one.name === this.shadeBy.value);
    const counted = named.length ? named : profile.attributes.filter((_, i) => this.beliefs.attributes[i].event);
    return counted.reduce((all, one) => all + (one.high90 - one.low90) / 2, 0) / counted.length;
  }

  // A move has come to an end: keep it, write it, say it.
  rest(same = "") {
    this.origin = null;
    if (this.trace.keep({ shares: this.shares }, same)) this.write();
    this.change(this.shares);
    this.readout.speak(this.shares, this.profile ?? { chance: 0 }, this.cost ?? null);
  }

  take(shares, otherwise, same = "") {
    if (!shares) return this.refuse(otherwise);
    say(this.part("refused"), "");
    this.change(shares);
    if (this.frame) cancelAnimationFrame(this.frame);
    this.show();
    return this.rest(same);
  }

  refuse(text) {
    say(this.part("refused"), text);
  }

  // --- the ways to move -------------------------------------------------------------------------

  drag(weights) {
    this.origin ??= this.shares;
    const shares = atPoint(this.origin, this.locks, this.corners, weights, this.step);
    if (shares) this.change(shares);
    else this.refuse("Two corners are locked; unlock one to move it here.");
  }

  slide(i, ppm) {
    this.origin ??= this.shares;
    const shares = withShare(this.origin, this.locks, i, ppm, this.step, this.corners);
    if (shares) this.change(shares);
  }

  stepHandle(way, by) {
    const [top, left, right] = this.corners;
    const amount = by * this.step;
    if (way === "home") {
      const service = this.data.points.find((point) => point.kind === "service");
      return this.take(service ? [...service.shares] : this.data.shares, "");
    }
    const shares = way === "right"
      ? transfer(this.shares, this.locks, by > 0 ? left : right, by > 0 ? right : left, Math.abs(amount))
      : this.upDown(top, amount);
    return this.take(shares, "It cannot go further that way.", `key ${way}`);
  }

  // The top corner takes from the two below it, or gives to them.
  upDown(top, amount) {
    const held = this.locks.map((locked, n) => locked || !this.corners.includes(n));
    const before = this.shares[top];
    const shares = withShare(this.shares, held, top, before + amount, this.step, this.corners);
    return shares && shares[top] !== before ? shares : null;
  }

  lock(i) {
    this.locks[i] = !this.locks[i];
    this.change(this.shares);
  }

  // A coffee goes to a corner (0 to 2) or from one (3); whoever was there takes its place.
  move(i, to) {
    const from = this.order.indexOf(i);
    const place = to < 3 ? to : Math.max(3, from);
    if (from === place || (to === 3 && from >= 3)) return;
    const there = this.order[place];
    this.order[place] = i;
    this.order[from] = there;
    this.change(this.shares, { write: true });
  }

  go(step) {
    const state = this.trace.go(step);
    if (!state) return;
    this.change([...state.shares], { write: true });
  }

  key(event) {
    if (!(event.ctrlKey || event.metaKey) || event.altKey || event.target.closest?.("input[type=text], textarea")) return;
    const name = event.key.toLowerCase();
    const step = name === "z" ? (event.shiftKey ? 1 : -1) : name === "y" ? 1 : 0;
    if (!step) return;
    event.preventDefault();
    this.go(step);
  }

  // --- what is written elsewhere ----------------------------------------------------------------

  write() {
    const path = address(this.coffees, this.shares, this.order, this.shadeBy.value);
    history.replaceState(null, "", path);
    this.part("link").value = location.origin + path;
    const sent = this.coffees.map((coffee, n) => [coffee.key, this.shares[n]]).filter(([, ppm]) => ppm > 0);
    for (const input of this.root.querySelectorAll("[data-sent-shares]")) input.value = sent.map((pair) => pair.join(":")).join(",");
    for (const input of this.root.querySelectorAll("[data-sent-recipe]")) input.value = new URLSearchParams(path.split("?")[1]).get("r");
  }

  async copy() {
    const link = this.part("link");
    link.select();
    try {
      await navigator.clipboard.writeText(link.value);
      say(this.part("copied"), "Copied.");
    } catch {
      say(this.part("copied"), "Marked: copy it with Ctrl+C.");
    }
  }

  // The points as a table: it says what the picture shows.
  table() {
    const body = this.part("points");
    const kinds = { service: "in service", trial: "recipe on trial", cupped: "cupped" };
    for (const point of [...this.data.points].sort((a, b) => (a.kind === "cupped") - (b.kind === "cupped"))) {
      const x = this.fractions(point.shares), cost = costOf(this.coffees, x);
      const use = make("button", { type: "button", class: "button quiet small" }, "Start from it", make("span", { class: "visually-hidden" }, `: ${point.name}`));
      use.addEventListener("click", () => this.take([...point.shares], ""));
      body.append(make("tr", {}, make("th", { scope: "row" }, point.name),
        make("td", { "data-label": "What" }, point.times > 1 ? `cupped, ${point.times} samples` : kinds[point.kind]),
        make("td", { "data-label": "Made of" }, madeOf(this.coffees, point.shares)),
        make("td", { class: "end", "data-label": "Chance on brief" }, chanceText(this.beliefs.chance(x))),
        make("td", { class: "end", "data-label": `Coffee, ${this.data.currency}/kg` }, cost === null ? "–" : cost.toFixed(2)),
        make("td", { class: "row-actions" }, use)));
    }
  }

  keyMarks() {
    const said = { cupped: "cupped; the ring is half its 90 % interval", service: "in service", trial: "recipe on trial" };
    const list = this.part("key");
    for (const [kind, text] of Object.entries(said)) {
      if (this.data.points.some((point) => point.kind === kind)) list.prepend(make("li", {}, keyMark(kind), text));
    }
  }
}

const root = document.querySelector("[data-triangle]");
const sent = document.getElementById("triangle-data");
if (root && sent) {
  const triangle = new Triangle(root, JSON.parse(sent.textContent));
  const wanted = new URLSearchParams(location.search).get("shade");
  if (wanted && [...triangle.shadeBy.options].some((option) => option.value === wanted)) {
    triangle.shadeBy.value = wanted;
    triangle.change(triangle.shares);
  }
  triangle.write();
  root.hidden = false;
}
