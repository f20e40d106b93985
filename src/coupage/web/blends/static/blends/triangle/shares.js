// Shares are whole parts per million and always add up to a million, whatever is moved.
export const WHOLE = 1_000_000;
const sum = (values) => values.reduce((a, b) => a + b, 0);

// Whole parts in proportion to weights, adding up to total; on steps where the total allows it.
export function split(total, weights, step = 1) {
  const all = sum(weights);
  const even = all > 0 ? weights : weights.map(() => 1);
  const exact = even.map((w) => (total * w) / sum(even));
  const parts = exact.map((v) => Math.floor(v / step + 1e-9) * step);
  let left = total - sum(parts);
  const order = exact.map((v, i) => [v - parts[i], i]).sort((a, b) => b[0] - a[0] || a[1] - b[1]);
  for (const [, i] of order) {
    if (left < step) break;
    parts[i] += step;
    left -= step;
  }
  // What is smaller than a step stays where most is.
  parts[parts.indexOf(Math.max(...parts))] += left;
  return parts;
}

// One coffee gets a share; the others that are not locked keep their proportions to each other.
export function withShare(shares, locks, i, wanted, step = 1, corners = [0, 1, 2]) {
  const others = shares.map((_, n) => n).filter((n) => n !== i && !locks[n]);
  const room = WHOLE - sum(shares.filter((_, n) => n !== i && locks[n]));
  if (locks[i] || !others.length) return null;
  const value = Math.min(room, Math.max(0, Math.round(wanted)));
  let takers = others;
  if (!sum(others.map((n) => shares[n]))) {
    const atCorners = others.filter((n) => corners.includes(n));
    if (atCorners.length) takers = atCorners;
  }
  const parts = split(room - value, takers.map((n) => shares[n]), step);
  const next = shares.map((share, n) => (locks[n] && n !== i ? share : 0));
  next[i] = value;
  takers.forEach((n, at) => { next[n] = parts[at]; });
  return next;
}

// An amount goes from one coffee to another, as far as there is any.
export function transfer(shares, locks, from, to, amount) {
  if (locks[from] || locks[to]) return null;
  const moved = Math.min(amount, shares[from]);
  if (!moved) return null;
  return shares.map((share, n) => share + (n === to ? moved : 0) - (n === from ? moved : 0));
}

// The point (weights of the three corners, sum 1) nearest to one that may lie outside.
export function inside(weights) {
  let w = [...weights];
  for (let round = 0; round < 3; round++) {
    const i = w.findIndex((v) => v < 0);
    if (i < 0) return w;
    // Straight to the edge: the other two lose the same.
    w = w.map((v, n) => (n === i ? 0 : v + w[i] / 2));
    if (w.filter((v) => v < 0).length > 1 || w.some((v) => v > 1)) {
      const most = w.indexOf(Math.max(...w));
      return w.map((_, n) => (n === most ? 1 : 0));
    }
  }
  return w;
}

// The corners share what the other coffees leave, as the point says; locked corners stay.
export function atPoint(shares, locks, corners, weights, step = 1) {
  const total = sum(corners.map((n) => shares[n]));
  const fixed = corners.filter((n) => locks[n]);
  if (fixed.length > 1) return null;
  const next = [...shares];
  if (fixed.length === 1) {
    const free = [0, 1, 2].filter((c) => !locks[corners[c]]);
    const room = total - shares[fixed[0]];
    const first = Math.min(room, Math.max(0, (room + (weights[free[0]] - weights[free[1]]) * total) / 2));
    const parts = split(room, [first, room - first], step);
    free.forEach((c, n) => { next[corners[c]] = parts[n]; });
    return next;
  }
  const parts = split(total, inside(weights), step);
  corners.forEach((n, c) => { next[n] = parts[c]; });
  return next;
}
