// The triangle itself: outline, grid, corners with their coffees, contours, the cost cap.
import { draw, percent, put, swatch } from "./dom.js";
import { CORNERS, place } from "./place.js";

const points = (list) => list.map(([x, y]) => `${x.toFixed(1)},${y.toFixed(1)}`).join(" ");

export class Ground {
  constructor(svg) {
    this.contours = draw("g", { class: "contours" });
    this.cap = draw("line", { class: "cap" });
    this.names = draw("g", { class: "corner-names" });
    this.points = draw("g");
    svg.append(this.grid(), this.contours, this.cap, this.names, this.points);
  }

  grid() {
    const group = draw("g", { "aria-hidden": "true" });
    for (const share of [0.2, 0.4, 0.6, 0.8]) {
      for (let i = 0; i < 3; i++) {
        const ends = [1, 2].map((turn) => {
          const w = [0, 0, 0];
          w[i] = share;
          w[(i + turn) % 3] = 1 - share;
          return place(w);
        });
        group.append(draw("line", { class: "grid", x1: ends[0][0], y1: ends[0][1], x2: ends[1][0], y2: ends[1][1] }));
      }
    }
    group.append(draw("polygon", { class: "outline", points: points(CORNERS) }));
    return group;
  }

  // Names at the corners, with what a corner stands for when others have a share already.
  corners(coffees, corners, total) {
    const places = [[CORNERS[0][0], 22, "middle"], [8, CORNERS[1][1] + 26, "start"], [552, CORNERS[2][1] + 26, "end"]];
    this.names.replaceChildren(...corners.map((n, c) => {
      const [x, y, anchor] = places[c];
      const text = draw("text", { x, y, "text-anchor": anchor });
      text.textContent = coffees[n].name;
      const under = draw("text", { class: "corner-share", x, y: y + 17, "text-anchor": anchor });
      under.textContent = percent(total);
      const at = CORNERS[c];
      const picture = swatch(coffees[n].slot, 18);
      put(picture, { x: at[0] - 9, y: at[1] - 9 });
      return draw("g", {}, picture, text, under);
    }));
  }

  lines(found, say) {
    this.contours.replaceChildren(...found.flatMap(({ level, path, label }) => {
      const drawn = [draw("path", { class: "contour-edge", d: path }), draw("path", { class: "contour", d: path })];
      if (label) {
        const text = draw("text", { class: "contour-name", x: label[0].toFixed(1), y: (label[1] + 4).toFixed(1), "text-anchor": "middle" });
        text.textContent = say(level);
        drawn.push(text);
      }
      return drawn;
    }));
  }

  // Where the cost just keeps its cap: straight, since cost is linear in the shares.
  costCap(costs, rest, total, cap) {
    put(this.cap, { visibility: "hidden" });
    if (cap === null || costs.some((cost) => cost === null) || rest === null || !total) return false;
    const over = costs.map((cost) => rest + cost * total - cap);
    const ends = [];
    for (const [i, j] of [[0, 1], [1, 2], [2, 0]]) {
      if (over[i] > 0 === over[j] > 0) continue;
      const w = [0, 0, 0];
      w[i] = over[j] / (over[j] - over[i]);
      w[j] = 1 - w[i];
      ends.push(place(w));
    }
    if (ends.length !== 2) return false;
    put(this.cap, { x1: ends[0][0], y1: ends[0][1], x2: ends[1][0], y2: ends[1][1], visibility: null });
    return true;
  }
}
