// Unsaved typing is not lost by accident; shares show their sum while they are typed.
(() => {
  const dirty = new Set();
  const text = (form) => new URLSearchParams([...new FormData(form)].filter(([name, value]) => name !== "csrfmiddlewaretoken" && typeof value === "string")).toString();

  function guard(form) {
    if (form.dataset.guarded) return;
    form.dataset.guarded = "yes";
    const before = text(form);
    const check = () => (text(form) === before ? dirty.delete(form) : dirty.add(form));
    form.addEventListener("input", check);
    form.addEventListener("change", check);
    form.addEventListener("submit", (event) => setTimeout(() => { if (!event.defaultPrevented) dirty.delete(form); }));
  }
  window.addEventListener("beforeunload", (event) => {
    for (const form of dirty) if (!form.isConnected) dirty.delete(form);
    if (dirty.size) event.preventDefault();
  });
  window.addEventListener("pagehide", () => dirty.clear());

  const number = (value) => {
    const plain = value.replace(/[\s'’%]/g, "").replace(",", ".");
    return plain === "" ? 0 : Number(plain);
  };
  const show = (value) => String(Math.round(value * 100) / 100);

  function shares(box) {
    if (box.dataset.started) return;
    box.dataset.started = "yes";
    const rows = box.querySelector("[data-share-rows]");
    const total = box.querySelector("[data-share-total]");
    const add = box.querySelector("[data-share-add]");
    const even = box.querySelector("[data-share-even]");
    const forms = box.querySelector("input[name$=TOTAL_FORMS]");
    const leaving = (row) => Boolean(row.querySelector("[data-share-delete] input:checked"));
    const boxes = () => [...rows.querySelectorAll("[data-share-row]")].filter((row) => !leaving(row)).map((row) => row.querySelector("input[inputmode=decimal]")).filter(Boolean);

    function sum() {
      for (const row of rows.querySelectorAll("[data-share-row]")) row.classList.toggle("leaving", leaving(row));
      const values = boxes().map((input) => number(input.value));
      total.hidden = false;
      if (values.some((v) => Number.isNaN(v))) {
        total.textContent = "Some shares are not numbers yet";
        total.classList.add("off");
        even.hidden = true;
        return;
      }
      const whole = values.reduce((a, b) => a + b, 0);
      const rest = 100 - whole;
      const fits = Math.abs(rest) < 0.00005;
      total.textContent = fits ? "100 %: adds up" : `${show(whole)} %: ${show(Math.abs(rest))} ${rest > 0 ? "to go" : "too much"}`;
      total.classList.toggle("off", !fits);
      even.hidden = fits || whole <= 0;
    }
    box.addEventListener("input", sum);
    box.addEventListener("change", sum);
    add.hidden = false;
    add.addEventListener("click", () => {
      const piece = box.querySelector("[data-share-blank]").content.cloneNode(true);
      const n = forms.value;
      for (const part of piece.querySelectorAll("*")) {
        for (const { name, value } of [...part.attributes]) {
          if (value.includes("__prefix__")) part.setAttribute(name, value.replaceAll("__prefix__", n));
        }
      }
      forms.value = Number(n) + 1;
      rows.append(piece);
      rows.lastElementChild.querySelector("select, input:not([type=hidden])")?.focus();
      sum();
    });
    even.addEventListener("click", () => {
      // Scaled, rounded to tenths of a per cent, the remainder to the largest share.
      const inputs = boxes();
      const values = inputs.map((input) => number(input.value));
      const whole = values.reduce((a, b) => a + b, 0);
      const tenths = values.map((v) => Math.round((v / whole) * 1000));
      tenths[values.indexOf(Math.max(...values))] += 1000 - tenths.reduce((a, b) => a + b, 0);
      inputs.forEach((input, i) => { input.value = show(tenths[i] / 10); });
      inputs[0]?.dispatchEvent(new Event("input", { bubbles: true }));
    });
    sum();
  }

  function start() {
    for (const form of document.querySelectorAll("form[data-guard]")) guard(form);
    for (const box of document.querySelectorAll("[data-shares]")) shares(box);
  }
  start();
  document.addEventListener("htmx:afterSettle", start);
  document.querySelector(".error-summary")?.focus();
})();
