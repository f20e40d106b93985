// Points on the triangle: what was cupped, with a ring of doubt; the recipes; the proposal.
import { draw, madeOf, put } from "./dom.js";
import { place } from "./place.js";
import { WHOLE } from "./shares.js";

const RING = 22; // units of the drawing for a half width of one point of the scale

const SHAPES = {
  service: (size) => draw("rect", { x: -size, y: -size, width: 2 * size, height: 2 * size }),
  trial: (size) => draw("path", { d: `M0 ${-1.35 * size} ${1.35 * size} 0 0 ${1.35 * size} ${-1.35 * size} 0Z` }),
  cupped: (size) => draw("circle", { r: size }),
};
const SIZES = { service: 7, trial: 6.5, cupped: 4.5 };

export function keyMark(kind) {
  const shape = SHAPES[kind](SIZES[kind]);
  return draw("svg", { class: `legend-mark point ${kind}`, width: 22, height: 22, viewBox: "-11 -11 22 22", "aria-hidden": "true" }, shape);
}

export class Marks {
  constructor(layer, points, coffees) {
    this.points = points.map((point) => {
      const ring = draw("circle", { class: "doubt-ring" });
      const title = draw("title");
      title.textContent = `${point.name}: ${madeOf(coffees, point.shares)}`;
      const group = draw("g", { class: `point ${point.kind}` }, title, ring, SHAPES[point.kind](SIZES[point.kind]));
      layer.append(group);
      return { ...point, group, ring };
    });
  }

  // Move every point to where it stands between the corners. What has other shares of the coffees
  // that the sliders hold lies before or behind this triangle: it is drawn faint.
  show(corners, shares, doubt) {
    for (const point of this.points) {
      const weights = corners.map((n) => point.shares[n]);
      const total = weights.reduce((a, b) => a + b, 0);
      put(point.group, { visibility: total > 0 ? null : "hidden" });
      if (!total) continue;
      const [x, y] = place(weights);
      const off = shares.some((share, n) => !corners.includes(n) && Math.abs(share - point.shares[n]) > WHOLE / 100);
      put(point.group, { transform: `translate(${x.toFixed(1)} ${y.toFixed(1)})` });
      point.group.classList.toggle("elsewhere", off);
      if (point.kind === "cupped") put(point.ring, { r: (RING * doubt(point)).toFixed(1) });
      else put(point.ring, { r: 0 });
    }
  }
}
