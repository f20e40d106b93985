// Rows of an order: one more on a press of a button; without scripts the empty ones suffice.
for (const box of document.querySelectorAll("[data-lines]")) {
  const add = box.querySelector("[data-line-add]");
  const forms = box.querySelector("input[name$=TOTAL_FORMS]");
  add.hidden = false;
  add.addEventListener("click", () => {
    const piece = box.querySelector("[data-line-blank]").content.cloneNode(true);
    for (const part of piece.querySelectorAll("*")) {
      for (const { name, value } of [...part.attributes]) {
        if (value.includes("__prefix__")) part.setAttribute(name, value.replaceAll("__prefix__", forms.value));
      }
    }
    forms.value = Number(forms.value) + 1;
    const rows = box.querySelector("[data-line-rows]");
    rows.append(piece);
    rows.lastElementChild.querySelector("select")?.focus();
  });
}
