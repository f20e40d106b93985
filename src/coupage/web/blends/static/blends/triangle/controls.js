// One line for each coffee: slider, box to type in, lock, and its place: a corner or none.
import { figure, make, put, swatch, typed } from "./dom.js";

const PLACES = ["top", "left", "right", "slider"];

function lockPicture() {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  put(svg, { class: "icon", viewBox: "0 0 24 24", "aria-hidden": "true" });
  const path = document.createElementNS("http://www.w3.org/2000/svg", "path");
  put(path, { d: "M6 11h12v9H6zM8.5 11V8a3.5 3.5 0 0 1 7 0v3" });
  svg.append(path);
  return svg;
}

export class Controls {
  // ask: {slide(i, ppm), slid(), type(i, ppm), lock(i), move(i, place)}
  constructor(list, coffees, ask) {
    const many = coffees.length > 3;
    this.rows = coffees.map((coffee, i) => {
      const slider = make("input", { type: "range", min: 0, max: 100, step: 0.1, "aria-label": `Share of ${coffee.name}, slider` });
      const box = make("input", { type: "text", inputmode: "decimal", autocomplete: "off", class: "number", "aria-label": `Share of ${coffee.name} in per cent` });
      const lock = make("button", { type: "button", class: "button quiet small lock", "aria-pressed": "false", "aria-label": `Lock ${coffee.name}`, title: "Lock this share" }, lockPicture());
      const where = make("select", { "aria-label": `Corner of ${coffee.name}` });
      PLACES.slice(0, many ? 4 : 3).forEach((text, place) => where.append(make("option", { value: place }, text)));
      slider.addEventListener("input", () => ask.slide(i, Math.round(Number(slider.value) * 10_000)));
      slider.addEventListener("change", () => ask.slid());
      const take = () => {
        const value = typed(box.value);
        const fine = value >= 0 && value <= 100;
        put(box, { "aria-invalid": fine ? null : "true" });
        if (fine) ask.type(i, Math.round(value * 10_000));
        else ask.refuse(`${coffee.name}: ${box.value.trim() || "nothing"} is not a share; type a number from 0 to 100.`);
      };
      box.addEventListener("change", take);
      box.addEventListener("focus", () => box.select());
      lock.addEventListener("click", () => ask.lock(i));
      where.addEventListener("change", () => ask.move(i, Number(where.value)));
      list.append(make("li", { class: "coffee-line" },
        make("span", { class: "coffee-name" }, swatch(coffee.slot), coffee.name),
        slider, make("span", { class: "with-unit" }, box, make("span", { class: "unit" }, "%")), lock, where));
      return { slider, box, lock, where };
    });
  }

  show(shares, locks, order, step) {
    const free = locks.filter((locked) => !locked).length;
    this.rows.forEach((row, i) => {
      const text = figure(shares[i]);
      if (document.activeElement !== row.slider) put(row.slider, { step: step / 10_000 });
      if (Number(row.slider.value) !== shares[i] / 10_000) row.slider.value = text;
      put(row.slider, { "aria-valuetext": `${text} %` });
      // What is being typed stays, also where it is no share; a move elsewhere puts it right.
      if (document.activeElement !== row.box || row.box.dataset.shown !== text) {
        row.box.value = text;
        put(row.box, { "aria-invalid": null });
      }
      row.box.dataset.shown = text;
      const fixed = locks[i] || free < 2;
      row.slider.disabled = fixed;
      row.box.disabled = fixed;
      put(row.lock, { "aria-pressed": locks[i] ? "true" : "false" });
      row.where.value = Math.min(3, order.indexOf(i));
    });
  }
}
