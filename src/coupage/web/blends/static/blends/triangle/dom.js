// Making and filling elements, and figures as the server writes them.
const SVG = "http://www.w3.org/2000/svg";

export function make(name, attributes = {}, ...inside) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...inside);
  return made;
}

export function draw(name, attributes = {}, ...inside) {
  const made = document.createElementNS(SVG, name);
  put(made, attributes);
  made.append(...inside);
  return made;
}

export function put(element, attributes) {
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null) element.removeAttribute(key);
    else if (element.getAttribute(key) !== String(value)) element.setAttribute(key, value);
  }
}

export function say(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

// Parts per million as per cent, with the digits they need: 35, 33.33, 12.5.
export const figure = (ppm) => String(Number((ppm / 10_000).toFixed(2)));
export const percent = (ppm) => `${figure(ppm)} %`;

// Near 0 and 1 a chance says so instead of rounding to certainty.
export function chanceText(chance) {
  if (chance > 0.995) return "over 99 %";
  if (chance < 0.005) return "under 1 %";
  return `${(100 * chance).toFixed(0)} %`;
}

export function joined(parts) {
  return parts.length > 1 ? `${parts.slice(0, -1).join(", ")} and ${parts.at(-1)}` : parts.join("");
}

// 45 % Amber Ridge (light), 40 % … and 15 % …, largest first.
export function madeOf(coffees, shares) {
  const inside = shares.map((ppm, n) => [ppm, coffees[n].name]).filter(([ppm]) => ppm > 0);
  return joined(inside.sort((a, b) => b[0] - a[0]).map(([ppm, name]) => `${percent(ppm)} ${name}`));
}

// A number as people type it: 14.2 and 14,2.
export function typed(text) {
  const plain = text.replace(/[\s'’%]/g, "").replace(",", ".");
  return /^\d+(\.\d*)?$|^\.\d+$/.test(plain) ? Number(plain) : NaN;
}

export function swatch(slot, size = 16) {
  const box = { x: 1, y: 1, width: size - 2, height: size - 2 };
  const number = ((slot - 1) % 8) + 1;
  return draw("svg", { class: "swatch", width: size, height: size, "aria-hidden": "true" },
    draw("rect", { class: `component-${number}`, ...box }),
    draw("rect", { class: "component-edge", fill: `url(#pattern-${number})`, ...box }));
}
