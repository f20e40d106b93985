// Lines of equal value across a lattice, joined, with a place for the figure on each.
import { place, weightsAt } from "./place.js";

// No figure stands nearer to the edge than this weight of a corner.
const EDGE = 0.05;

function crossings(lattice, level) {
  const { n, nodes, values } = lattice;
  const segments = [];
  const cut = (a, b) => {
    const t = (level - values[a]) / (values[b] - values[a]);
    return { key: a < b ? `${a}:${b}` : `${b}:${a}`, at: place(nodes[a].map((v, k) => v + t * (nodes[b][k] - v))) };
  };
  const triangle = (...corners) => {
    const over = corners.filter((c) => values[c] >= level), under = corners.filter((c) => values[c] < level);
    if (!over.length || !under.length) return;
    const [lone, pair] = over.length === 1 ? [over[0], under] : [under[0], over];
    segments.push([cut(lone, pair[0]), cut(lone, pair[1])]);
  };
  for (let i = 0; i < n; i++) {
    for (let j = 0; j < n - i; j++) {
      triangle(lattice.index(i, j), lattice.index(i + 1, j), lattice.index(i, j + 1));
      if (j < n - i - 1) triangle(lattice.index(i + 1, j), lattice.index(i, j + 1), lattice.index(i + 1, j + 1));
    }
  }
  return segments;
}

function joined(segments) {
  const ends = new Map();
  for (const segment of segments) {
    for (const end of segment) ends.set(end.key, [...(ends.get(end.key) ?? []), segment]);
  }
  const used = new Set();
  const follow = (line, from) => {
    for (let key = from; ;) {
      const next = (ends.get(key) ?? []).find((s) => !used.has(s));
      if (!next) return;
      used.add(next);
      const far = next[0].key === key ? next[1] : next[0];
      line.push(far.at);
      key = far.key;
    }
  };
  const lines = [];
  for (const segment of segments) {
    if (used.has(segment)) continue;
    used.add(segment);
    const back = [segment[0].at], there = [segment[1].at];
    follow(there, segment[1].key);
    follow(back, segment[0].key);
    lines.push([...back.reverse(), ...there]);
  }
  return lines;
}

const distance = ([x, y], [u, v]) => Math.hypot(x - u, y - v);

// Every level's lines as a path, and where its figure has most room.
export function contours(lattice, levels) {
  const placed = [];
  return levels.map((level) => {
    const lines = joined(crossings(lattice, level)).filter((line) => line.length > 2);
    const path = lines.map((line) => `M${line.map(([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`).join("L")}`).join("");
    let best = null, room = 0;
    for (const line of lines) {
      const length = line.slice(1).reduce((all, at, i) => all + distance(at, line[i]), 0);
      if (length < 30) continue;
      for (const at of line.slice(2, -2)) {
        if (Math.min(...weightsAt(...at)) < EDGE) continue;
        const here = Math.min(60, ...placed.map((other) => distance(at, other)));
        if (here > room) [best, room] = [at, here];
      }
    }
    if (best && room >= 26) placed.push(best);
    else best = null;
    return { level, path, label: best };
  });
}
