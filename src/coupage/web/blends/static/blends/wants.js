// A range that is typed or dragged where nothing was wanted yet says how it is wanted.
(() => {
  document.addEventListener("input", (event) => {
    const row = event.target.closest(".wants tr");
    const kind = row?.querySelector("select[name$='-kind']");
    if (!kind || kind.dataset.chosen || !event.target.matches("input[name$='-low'], input[name$='-high']")) return;
    if (kind.value && !kind.dataset.guessed) return;
    const [low, high] = ["low", "high"].map((end) => row.querySelector(`input[name$='-${end}']`).value.trim());
    kind.value = low && high ? "between" : low ? "at least" : high ? "at most" : "";
    kind.dataset.guessed = "yes";
  });
  // Once chosen by hand it stays.
  document.addEventListener("change", (event) => {
    if (event.isTrusted && event.target.matches(".wants select[name$='-kind']")) event.target.dataset.chosen = "yes";
  });
})();
