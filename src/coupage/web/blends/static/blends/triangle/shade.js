// Keeps the shading up to date: coarse at once, fine over the next frames, never longer than a few
// milliseconds a frame. Moving the handle between the corners changes nothing of it.
import { contours } from "./contours.js";
import { chanceText, draw, put } from "./dom.js";
import { COARSE, FINE, Lattice, Painter, filling, range, ticks } from "./shading.js";

const SLICE_MS = 6;

export class Shade {
  constructor(canvas, ground, scale, beliefs) {
    this.painter = new Painter(canvas);
    this.ground = ground;
    this.scale = scale;
    this.beliefs = beliefs;
    this.coarse = new Lattice(COARSE);
    this.fine = new Lattice(FINE);
    this.was = "";
  }

  // What to show: "chance" or the name of an attribute, over the corners of these shares.
  want(shade, shares, corners) {
    const rest = shares.map((share, n) => (corners.includes(n) ? 0 : share));
    const key = JSON.stringify([shade, rest, corners]);
    if (key === this.was) return;
    this.was = key;
    this.shade = shade;
    const total = (1e6 - rest.reduce((a, b) => a + b, 0)) / 1e6;
    const x = Float64Array.from(rest, (share) => share / 1e6);
    const attribute = this.beliefs.attributes.find((one) => one.name === shade);
    const quantity = (weights) => {
      corners.forEach((n, c) => { x[n] = weights[c] * total; });
      return attribute ? this.beliefs.mean(x, attribute) : this.beliefs.chance(x);
    };
    this.tasks = [[this.coarse, filling(this.coarse, quantity)], [this.fine, filling(this.fine, quantity)]];
    this.work();
  }

  // Go on for a slice of time; the next frame goes on from there.
  work() {
    cancelAnimationFrame(this.waiting);
    const until = performance.now() + SLICE_MS;
    while (this.tasks.length) {
      const [lattice, fill] = this.tasks[0];
      if (!fill(until)) break;
      this.tasks.shift();
      if (lattice === this.fine || this.tasks.length) this.paint(lattice);
      if (performance.now() > until) break;
    }
    put(this.painter.canvas, { "data-fine": this.tasks.length ? null : "yes" });
    if (this.tasks.length) this.waiting = requestAnimationFrame(() => this.work());
  }

  paint(lattice) {
    const [least, most] = range(lattice);
    const chance = this.shade === "chance";
    // A chance begins at none; what hardly differs anywhere is not blown up to a landscape.
    const low = chance ? 0 : least, high = Math.max(most, low + (chance ? 0.02 : 0.2));
    this.painter.paint(lattice, [low, high]);
    const levels = ticks(low, high).filter((level) => level > least && level < most);
    this.ground.lines(contours(lattice, levels), (level) => this.say(level));
    this.legend(low, high);
  }

  say(value) {
    return this.shade === "chance" ? `${Number((100 * value).toFixed(1))} %` : String(Number(value.toFixed(2)));
  }

  legend(low, high) {
    const stops = Array.from({ length: 10 }, (_, n) => draw("stop", { class: `stop-${n}`, offset: `${(100 * n) / 9}%` }));
    const bar = [
      draw("defs", {}, draw("linearGradient", { id: "triangle-shades" }, ...stops)),
      draw("rect", { fill: "url(#triangle-shades)", width: "100%", height: 12 }),
    ];
    const marks = ticks(low, high, 5).flatMap((value) => {
      const at = (100 * (value - low)) / (high - low);
      const text = draw("text", { x: `${at.toFixed(2)}%`, y: 28, "text-anchor": at < 5 ? "start" : at > 95 ? "end" : "middle" });
      text.textContent = this.say(value);
      return [draw("line", { x1: `${at.toFixed(2)}%`, x2: `${at.toFixed(2)}%`, y1: 12, y2: 16 }), text];
    });
    this.scale.replaceChildren(...bar, ...marks);
    put(this.scale, { role: "img", "aria-label": this.shade === "chance" ? `Shading: chance on brief, from 0 to ${chanceText(high)}` : `Shading: ${this.shade}, from ${low.toFixed(1)} to ${high.toFixed(1)}` });
  }
}
