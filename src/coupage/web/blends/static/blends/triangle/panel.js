// The figures beside the triangle: taste with its doubt, chances of the wants, cost, stock.
import { chanceText, draw, make, put, say } from "./dom.js";

const HIGH = 10; // of the scale
const across = (value) => `${Math.min(100, Math.max(0, (100 * value) / HIGH)).toFixed(2)}%`;

function bracket(ends, height) {
  const [low, high] = ends;
  const left = low ?? 0, right = high ?? HIGH;
  const group = draw("g", { class: "wanted" },
    draw("rect", { class: "wanted-band", x: across(left), width: across(right - left), y: 1.5, height: height - 3 }));
  for (const [at, hook, closed] of [[left, 5, low !== null], [right, -5, high !== null]]) {
    if (!closed) continue;
    group.append(draw("svg", { x: across(at), overflow: "visible" },
      draw("path", { class: "wanted-hook", d: `M${hook} 1.5H0V${height - 1.5}H${hook}` })));
  }
  return group;
}

class Lane {
  constructor(series, y) {
    this.ninety = draw("line", { class: "ninety", y1: y, y2: y });
    this.fifty = draw("line", { class: "fifty", y1: y, y2: y });
    const mark = series === 1 ? draw("circle", { r: 5 }) : draw("path", { d: "M-4.5-4.5h9v9h-9z" });
    this.dot = draw("svg", { class: "mark", y, overflow: "visible" }, mark);
    this.group = draw("g", { class: `series series-${series}` }, this.ninety, this.fifty, this.dot);
  }

  show(one) {
    put(this.ninety, { x1: across(one.low90), x2: across(one.high90) });
    put(this.fifty, { x1: across(one.low50), x2: across(one.high50) });
    put(this.dot, { x: across(one.mean) });
  }
}

export class Panel {
  constructor(table, attributes, service) {
    this.rows = attributes.map((attribute, i) => {
      const height = service ? 36 : 24;
      const lane = new Lane(1, service ? 11 : 12);
      const svg = draw("svg", { class: "doubt", width: "100%", height, "aria-hidden": "true" });
      for (const t of [0, 2, 4, 6, 8, 10]) svg.append(draw("line", { class: "grid", x1: across(t), x2: across(t), y1: 0, y2: height }));
      const wanted = attribute.wants.find((want) => want.must) ?? attribute.wants[0];
      if (wanted) svg.append(bracket(wanted.ends, height));
      svg.append(lane.group);
      if (service) {
        const held = new Lane(2, 26);
        held.show(service.attributes[i]);
        svg.append(held.group);
      }
      const mean = make("strong"), interval = make("span", { class: "interval" });
      const chances = attribute.wants.map(() => make("strong"));
      const said = make("td", { class: "profile-verdict" });
      attribute.wants.forEach((want, n) => said.append(make("span", { class: "want-line" }, chances[n], ` ${want.text.slice(attribute.name.length + 1)}`, want.must ? " (must)" : "")));
      const name = attribute.name[0].toUpperCase() + attribute.name.slice(1);
      const figures = make("td", { class: "profile-figures" }, make("span", { class: "profile-figure" }, mean, " ", interval));
      if (service) figures.append(make("span", { class: "profile-figure interval" }, `now ${service.attributes[i].mean.toFixed(1)}`));
      table.append(make("tr", {}, make("th", { scope: "row" }, name), make("td", { class: "profile-picture" }, svg), figures, said));
      return { lane, mean, interval, chances };
    });
  }

  show(profile) {
    profile.attributes.forEach((one, i) => {
      const row = this.rows[i];
      row.lane.show(one);
      say(row.mean, one.mean.toFixed(1));
      say(row.interval, `${one.low90.toFixed(1)}–${one.high90.toFixed(1)}`);
      one.wants.forEach((chance, n) => say(row.chances[n], chanceText(chance)));
    });
  }
}
