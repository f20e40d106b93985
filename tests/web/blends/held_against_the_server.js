// The browser's own figures of random recipes beside the server's, and sums after random moves.
async () => {
  const at = "/static/blends/triangle/";
  const { Beliefs, costOf, makesOf } = await import(at + "beliefs.js");
  const { split, withShare } = await import(at + "shares.js");
  const { written } = await import(at + "trace.js");
  const data = JSON.parse(document.getElementById("triangle-data").textContent);
  const beliefs = new Beliefs(data), order = data.coffees.map((_, n) => n);
  let seed = 7;
  const random = () => { seed = (seed * 16807) % 2147483647; return seed / 2147483647; };
  const rows = [];
  for (let i = 0; i < 16; i++) {
    const weights = order.map(() => (random() < 0.3 ? 0 : -Math.log(random())));
    rows.push(split(1000000, weights, i % 2 ? 1 : 10000));
  }
  const query = rows.map((row) => "r=" + written(data.coffees, row, order)).join("&");
  const server = (await (await fetch(location.pathname + "figures/?" + query)).json()).recipes;
  let worst = 0, figures = 0;
  const see = (mine, theirs) => { figures++; worst = Math.max(worst, Number.isFinite(mine - theirs) ? Math.abs(mine - theirs) : Infinity); };
  rows.forEach((row, i) => {
    const x = Float64Array.from(row, (ppm) => ppm / 1e6), own = beliefs.profile(x), theirs = server[i];
    see(own.chance, theirs.chance);
    see(beliefs.chance(x), theirs.chance);
    see(costOf(data.coffees, x), theirs.cost);
    see(makesOf(data.coffees, x).kg, theirs.makes);
    const wants = [];
    for (const one of own.attributes) {
      [one.mean, one.sd, one.low90, one.low50, one.high50, one.high90].forEach((v, k) => see(v, theirs.profile[one.name][k]));
      wants.push(...one.wants);
    }
    wants.forEach((chance, k) => see(chance, theirs.wants[k]));
  });
  let broken = 0;
  for (let i = 0; i < 400; i++) {
    const before = rows[i % rows.length], locks = order.map(() => random() < 0.3);
    const moved = withShare(before, locks, i % order.length, random() * 1.2e6 - 1e5, [1, 10000, 50000][i % 3]);
    if (!moved) continue;
    const fits = moved.reduce((a, b) => a + b, 0) === 1e6 && moved.every((v) => v >= 0 && Number.isInteger(v));
    const held = locks.every((locked, n) => !locked || moved[n] === before[n]);
    if (!fits || !held) broken++;
  }
  return { worst, figures, broken };
}
