// One cup in one pass: big code, an intensity by tap or slide, words, a fault, how much it is liked.
import { capital, figure, h, many } from "./parts.js";

const SUGGESTED = 8;

// One attribute. The slide rests in the middle until it is touched; a touch where it rests counts too.
export function slideLine({ name, low, high, value, locked, give }) {
  const shown = h("output", { class: "slide-value" }, figure(value));
  const range = h("input", {
    type: "range", min: 0, max: 10, step: 0.5, value: value ?? 5, disabled: locked,
    "aria-label": `${capital(name)}, 0 ${low} to 10 ${high}`,
  });
  const line = h("div", { class: "slide" });
  const clear = h("button", { type: "button", class: "slide-clear", disabled: locked, onclick: () => set(null, true) }, "Clear");
  let given = value;

  function show(next) {
    shown.textContent = figure(next);
    line.classList.toggle("given", next !== null);
    clear.hidden = next === null;
    range.setAttribute("aria-valuetext", next === null ? "not given yet" : String(next));
    clear.setAttribute("aria-label", `${capital(name)}: take ${figure(next)} back`);
  }
  function set(next, tell) {
    if (next !== null) range.value = next;
    show(next);
    if (tell && next !== given) {
      given = next;
      give(next);
    }
  }
  const step = (by) => h("button", {
    type: "button", class: "slide-step", disabled: locked,
    "aria-label": `${capital(name)}: half a point ${by < 0 ? "less" : "more"}`,
    onclick: () => set(given === null ? Number(range.value) : Math.min(10, Math.max(0, given + by)), true),
  }, by < 0 ? "−" : "+");

  range.addEventListener("input", () => show(Number(range.value)));
  range.addEventListener("change", () => set(Number(range.value), true));
  range.addEventListener("pointerup", () => setTimeout(() => given === null && !locked && set(Number(range.value), true)));
  range.addEventListener("keydown", (event) => {
    if (given === null && (event.key === "Enter" || event.key === " ")) set(Number(range.value), true);
  });
  line.append(
    h("p", { class: "slide-name" }, capital(name), clear),
    shown,
    h("div", { class: "slide-track" }, step(-0.5), range, step(0.5)),
    h("p", { class: "slide-ends", "aria-hidden": "true" }, h("span", {}, low), h("span", {}, high)),
  );
  show(value);
  return line;
}

function words(sheet, cup) {
  const said = [...sheet.model.wordsOf(cup)];
  const drop = (word) => h("li", {}, h("button", {
    type: "button", class: "said-word", disabled: sheet.locked, "aria-label": `Take “${word}” away`,
    onclick: () => sheet.say(cup, word, false),
  }, word, h("span", { "aria-hidden": "true" }, "×")));
  const box = h("input", {
    id: "word", autocomplete: "off", autocapitalize: "none", enterkeyhint: "done", maxlength: 200,
    placeholder: "What does it taste of?", disabled: sheet.locked,
  });
  const offered = h("ul", { class: "offered", "aria-label": "Suggested words" });
  const add = (text) => {
    const found = text.toLowerCase().split(/[,;\n]/).map((part) => part.split(/\s+/).filter(Boolean).join(" ").slice(0, 40));
    for (const word of new Set(found.filter(Boolean))) sheet.say(cup, word, true);
    box.value = "";
    suggest();
    box.focus();
  };
  function suggest() {
    const typed = box.value.trim().toLowerCase();
    const known = [...sheet.ownWords(), ...sheet.data.lexicon].filter((word) => !sheet.model.wordsOf(cup).has(word));
    const fits = typed ? [...known.filter((w) => w.startsWith(typed)), ...known.filter((w) => w.includes(typed))] : sheet.ownWords().filter((w) => known.includes(w));
    offered.replaceChildren(...[...new Set(fits)].slice(0, SUGGESTED).map((word) =>
      h("li", {}, h("button", { type: "button", class: "offer", onclick: () => add(word) }, word))));
  }
  box.addEventListener("input", suggest);
  if (!sheet.locked) suggest();
  return h("section", { class: "said", "aria-labelledby": "said" },
    h("h2", { id: "said" }, "Words"),
    said.length ? h("ul", { class: "said-words" }, said.map(drop)) : null,
    sheet.locked ? null : h("form", { class: "say", onsubmit: (event) => { event.preventDefault(); add(box.value); } },
      h("label", { for: "word", class: "visually-hidden" }, "A word for what it tastes of"), box,
      h("button", { class: "button plain" }, "Add")),
    offered,
  );
}

function sameAsBefore(sheet, cup, p) {
  const before = sheet.data.passes[p - 1], now = sheet.data.passes[p];
  if (!before || sheet.locked) return null;
  const taken = sheet.data.asked.filter(({ key }) =>
    sheet.model.value(cup, before.key, key) !== null && sheet.model.value(cup, now.key, key) === null);
  if (!taken.length) return null;
  return h("button", {
    type: "button", class: "button plain wide same-as-before",
    onclick: () => {
      for (const { key } of taken) sheet.give(cup, now.key, key, sheet.model.value(cup, before.key, key), true);
      sheet.tellOnce(`${many(taken.length, "value", "values")} taken over from ${before.name}. Change what is different now.`);
      sheet.draw();
    },
  }, `Same as ${before.name}`);
}

export function cupScreen(sheet, p, c) {
  const pass = sheet.data.passes[p], cup = sheet.data.cups[c];
  const line = (kind) => sheet.data.asked.filter((one) => (one.kind === "liking") === kind).map((one) => slideLine({
    ...one, locked: sheet.locked, value: sheet.model.value(cup, pass.key, one.key),
    give: (value) => sheet.give(cup, pass.key, one.key, value),
  }));
  const fault = sheet.model.faults.has(cup);
  const liking = line(true);
  const dots = sheet.data.cups.map((code, at) => {
    const state = sheet.model.state(code, pass.key);
    const said = { done: "rated", begun: "begun", none: "not rated yet" }[state];
    return h("li", {}, h("a", { href: `#/${p + 1}/${at + 1}`, class: state, "aria-current": at === c ? "step" : null }, code,
      h("span", { class: "visually-hidden" }, `, ${said}`)));
  });
  return [
    h("div", { class: "cup-head" },
      h("h1", { tabindex: -1 }, h("span", { class: "visually-hidden" }, "Cup "), cup),
      h("p", {}, h("strong", {}, capital(pass.name)), ` cup ${c + 1} of ${sheet.data.cups.length}`)),
    h("nav", { class: "cup-row", "aria-label": `Cups, ${pass.name}` }, h("ol", {}, dots)),
    sameAsBefore(sheet, cup, p),
    h("div", { class: "slides" }, line(false)),
    liking.length ? h("section", { class: "slides liking", "aria-labelledby": "liking" },
      h("h2", { id: "liking" }, "And do you like it?"),
      h("p", { class: "help" }, "Kept apart from the intensities; it decides nothing."), liking) : null,
    words(sheet, cup),
    h("button", {
      type: "button", class: `button wide ${fault ? "stop" : "plain"}`, "aria-pressed": String(fault), disabled: sheet.locked,
      onclick: () => sheet.mark(cup, !fault),
    }, fault ? "Fault marked in this cup: take it back" : "Mark a fault in this cup"),
  ];
}
