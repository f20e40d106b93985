// Small builders that the screens of a table share. No text ever becomes markup.
export function h(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === false || value === null || value === undefined) continue;
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (name === "class") made.className = value;
    else made.setAttribute(name, value === true ? "" : String(value));
  }
  made.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== false));
  return made;
}

export const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);
export const figure = (value) => (value === null || value === undefined ? "–" : String(value));
export const many = (n, one, more) => `${n} ${n === 1 ? one : more}`;

export function minutes(ms) {
  const seconds = Math.max(0, Math.floor(ms / 1000));
  return `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
}

// crypto.randomUUID is only there on encrypted pages; this is everywhere.
export function drawKey() {
  return [...crypto.getRandomValues(new Uint8Array(16))].map((b) => b.toString(16).padStart(2, "0")).join("");
}
