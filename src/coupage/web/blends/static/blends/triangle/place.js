// Where a recipe stands on the triangle, and which one a place stands for.
export const WIDTH = 560, HEIGHT = 520;
const SIDE = 452, LEFT = (WIDTH - SIDE) / 2, TOP = 56, TALL = (SIDE * Math.sqrt(3)) / 2;
// The first corner on top, the second left below, the third right below.
export const CORNERS = [[LEFT + SIDE / 2, TOP], [LEFT, TOP + TALL], [LEFT + SIDE, TOP + TALL]];

export function place(weights) {
  const all = weights[0] + weights[1] + weights[2];
  const w = all > 0 ? weights.map((v) => v / all) : [1 / 3, 1 / 3, 1 / 3];
  return [0, 1].map((axis) => w[0] * CORNERS[0][axis] + w[1] * CORNERS[1][axis] + w[2] * CORNERS[2][axis]);
}

export function weightsAt(x, y) {
  const top = 1 - (y - TOP) / TALL;
  const right = (x - LEFT) / SIDE - top / 2;
  return [top, 1 - top - right, right];
}
