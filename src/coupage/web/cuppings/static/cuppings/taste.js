// One cup on a phone: tap or slide, the number beside it, saved at every touch.
(() => {
  const show = (value) => String(Math.round(value * 2) / 2);

  function start(line) {
    const number = line.querySelector(".taste-number");
    const range = line.querySelector("input[type=range]");
    line.querySelector(".taste-slide").hidden = false;
    const set = (value, save) => {
      number.value = show(value);
      range.value = value;
      line.classList.add("given");
      if (save) number.dispatchEvent(new Event("change", { bubbles: true }));
    };
    range.addEventListener("input", () => set(Number(range.value), false));
    range.addEventListener("change", () => set(Number(range.value), true));
    // A tap on the thumb where it rests changes nothing for the browser, yet it is a rating.
    range.addEventListener("pointerup", () =>
      setTimeout(() => {
        if (!line.classList.contains("given")) set(Number(range.value), true);
      }),
    );
    for (const button of line.querySelectorAll("[data-step]")) {
      button.addEventListener("click", () => {
        const given = line.classList.contains("given");
        const next = Number(range.value) + (given ? Number(button.dataset.step) : 0);
        set(Math.min(10, Math.max(0, next)), true);
      });
    }
    number.addEventListener("input", () => {
      const value = Number(number.value.replace(",", "."));
      line.classList.toggle("given", number.value.trim() !== "");
      if (number.value.trim() !== "" && value >= 0 && value <= 10) range.value = value;
    });
  }
  for (const line of document.querySelectorAll("[data-taste-line]")) start(line);

  document.addEventListener("htmx:afterRequest", (event) => {
    const box = event.target;
    if (box.matches(".taste-number")) {
      if (event.detail.xhr.status < 300) box.removeAttribute("aria-invalid");
      else box.setAttribute("aria-invalid", "true");
    }
    if (box.matches("[data-clear]") && event.detail.xhr.status < 300) {
      box.reset();
      box.querySelector("input[name=add]").focus();
    }
  });
  // The cup one stands at is in sight among the others.
  document.querySelector(".taste-dots [aria-current]")?.scrollIntoView({ block: "nearest", inline: "center" });
})();
