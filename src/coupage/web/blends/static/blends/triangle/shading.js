// Shading: a quantity at every node of a lattice over the triangle, then as a picture between them.
import { CORNERS, HEIGHT, WIDTH, weightsAt } from "./place.js";

export const COARSE = 14, FINE = 56;

export class Lattice {
  constructor(n) {
    this.n = n;
    this.nodes = [];
    for (let i = 0; i <= n; i++) for (let j = 0; j <= n - i; j++) this.nodes.push([i / n, j / n, (n - i - j) / n]);
    this.values = new Float64Array(this.nodes.length);
  }

  // Node with i steps of the first corner and j of the second.
  index(i, j) {
    return i * (this.n + 1) - (i * (i - 1)) / 2 + j;
  }

  // Value at a point, straight between the three nodes around it.
  at(top, left) {
    const { n, values } = this;
    const a = Math.min(n, Math.max(0, top * n)), b = Math.min(n - a, Math.max(0, left * n));
    const i = Math.min(n - 1, Math.floor(a)), j = Math.max(0, Math.min(n - 1 - i, Math.floor(b)));
    const u = a - i, v = b - j, here = this.index(i, j), above = this.index(i + 1, j);
    const o = values[here], p = values[above], q = values[here + 1];
    if (u + v <= 1) return o + u * (p - o) + v * (q - o);
    const far = values[above + 1];
    return far + (1 - v) * (p - far) + (1 - u) * (q - far);
  }
}

// Fill a lattice a few milliseconds at a time: call the answer until it says true.
export function filling(lattice, quantity) {
  let at = 0;
  return (until) => {
    while (at < lattice.nodes.length) {
      for (let stop = Math.min(at + 8, lattice.nodes.length); at < stop; at++) lattice.values[at] = quantity(lattice.nodes[at]);
      if (performance.now() > until && at < lattice.nodes.length) return false;
    }
    return true;
  };
}

export function range(lattice) {
  let low = Infinity, high = -Infinity;
  for (const value of lattice.values) {
    low = Math.min(low, value);
    high = Math.max(high, value);
  }
  return [low, high];
}

// Round figures from low to high: steps of 1, 2 or 5.
export function ticks(low, high, about = 6) {
  const rough = Math.max(high - low, 1e-9) / about;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].find((m) => m * power >= rough * (1 - 1e-9)) * power;
  const found = [];
  for (let k = Math.ceil(low / step - 1e-9); k * step <= high + 1e-9 * step; k++) found.push(Number((k * step).toPrecision(12)));
  return found;
}

// 256 colours between the ten shades of the palette.
export function colours(element) {
  const style = getComputedStyle(element);
  const shades = Array.from({ length: 10 }, (_, n) => {
    const hex = style.getPropertyValue(`--shade-${n}`).trim();
    return [1, 3, 5].map((at) => parseInt(hex.slice(at, at + 2), 16));
  });
  const table = new Uint32Array(256);
  for (let c = 0; c < 256; c++) {
    const at = (c / 255) * 9, n = Math.min(8, Math.floor(at)), t = at - n;
    const [r, g, b] = [0, 1, 2].map((k) => Math.round(shades[n][k] * (1 - t) + shades[n + 1][k] * t));
    table[c] = (255 << 24) | (b << 16) | (g << 8) | r; // little-endian, as all browsers' machines are
  }
  return table;
}

export class Painter {
  constructor(canvas) {
    this.canvas = canvas;
    this.scale = 0.75; // of the drawing's units: smooth when stretched
    canvas.width = Math.round(WIDTH * this.scale);
    canvas.height = Math.round(HEIGHT * this.scale);
    this.ground = canvas.getContext("2d");
    this.image = this.ground.createImageData(canvas.width, canvas.height);
    this.pixels = new Uint32Array(this.image.data.buffer);
    this.table = colours(canvas);
  }

  paint(lattice, [low, high]) {
    const { width, height } = this.canvas;
    const size = high > low ? 255 / (high - low) : 0;
    this.pixels.fill(0);
    const first = Math.floor(CORNERS[0][1] * this.scale), last = Math.min(height - 1, Math.ceil(CORNERS[1][1] * this.scale));
    // Weights change evenly along a line of pixels; what is a hair over the edge is hidden by it.
    const [, , rightOf0] = weightsAt(0, 0), [, , rightOf1] = weightsAt(1 / this.scale, 0);
    const along = rightOf1 - rightOf0, edge = -0.002;
    for (let y = first; y <= last; y++) {
      const [top, , right0] = weightsAt(0.5 / this.scale, (y + 0.5) / this.scale);
      if (top < edge) continue;
      for (let x = 0, right = right0; x < width; x++, right += along) {
        const left = 1 - top - right;
        if (right < edge || left < edge) continue;
        const c = Math.round((lattice.at(top, left) - low) * size);
        this.pixels[y * width + x] = this.table[c < 0 ? 0 : c > 255 ? 255 : c];
      }
    }
    this.ground.putImageData(this.image, 0, 0);
  }
}
