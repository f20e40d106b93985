// The end of a sheet: what is missing, two cups beside each other, what was swallowed, being done.
import { capital, figure, h, many } from "./parts.js";
import { swallowed } from "./caffeine.js";

export function endScreen(sheet) {
  const missing = sheet.model.missing();
  const shown = (one) => (sheet.data.passes.length > 1 ? `${one.cup} ${one.pass.name}` : one.cup);
  return [
    h("h1", { tabindex: -1 }, sheet.model.finished ? "You are done" : "The end of your sheet"),
    missing.length
      ? h("section", { class: "stack", "aria-labelledby": "missing" },
          h("h2", { id: "missing" }, `${many(missing.length, "cup is", "cups are")} not complete`),
          h("ul", { class: "gaps" }, missing.map((one) => h("li", {}, h("a", { href: `#/${one.p + 1}/${one.c + 1}` }, shown(one))))))
      : h("p", { class: "all-rated" }, "You have rated every cup. Thank you."),
    sheet.locked ? null : h("button", { type: "button", class: `button wide ${sheet.model.finished ? "plain" : ""}`, onclick: () => sheet.finish(!sheet.model.finished) },
      sheet.model.finished ? "Go on tasting" : "I am done"),
    sheet.data.cups.length > 1 ? h("p", {}, h("a", { class: "button plain wide", href: "#/two" }, "Compare two of your cups")) : null,
    swallowed(sheet),
  ];
}

// Two cups side by side, in every pass; a tap on a figure leads to that cup.
export function twoScreen(sheet) {
  const { cups, passes, asked } = sheet.data;
  const [first, second] = sheet.pair ?? [cups[0], cups[1]];
  const choose = (label, at) => {
    const box = h("select", { "aria-label": label, onchange: () => { sheet.pair = at ? [first, box.value] : [box.value, second]; sheet.draw(); } },
      cups.map((code) => h("option", { value: code, selected: code === (at ? second : first) }, code)));
    return box;
  };
  const value = (cup, pass, p, key) => h("td", { class: "middle" },
    h("a", { href: `#/${p + 1}/${cups.indexOf(cup) + 1}` }, figure(sheet.model.value(cup, pass.key, key))));
  return [
    h("h1", { tabindex: -1 }, "Two cups"),
    h("div", { class: "two-choice" }, choose("First cup", 0), choose("Second cup", 1)),
    ...passes.map((pass, p) => h("table", { class: "data steady" },
      h("caption", {}, capital(pass.name)),
      h("thead", {}, h("tr", {}, h("th", { scope: "col" }, "What"), h("th", { scope: "col", class: "middle" }, first), h("th", { scope: "col", class: "middle" }, second))),
      h("tbody", {}, asked.map(({ key, name }) => h("tr", {}, h("th", { scope: "row" }, capital(name)), value(first, pass, p, key), value(second, pass, p, key)))))),
    h("div", { class: "two-words" }, [first, second].map((cup) => h("p", {}, h("strong", {}, cup), " ", [...sheet.model.wordsOf(cup)].join(", ") || "no words"))),
    h("p", {}, h("a", { class: "button plain wide", href: "#/end" }, "Back")),
  ];
}
