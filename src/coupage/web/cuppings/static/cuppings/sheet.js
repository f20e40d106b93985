// The sheet of ratings by keyboard: Enter and arrows lead up and down, each cell is saved on its own.
(() => {
  const sheet = document.querySelector("[data-rating-sheet]");
  if (!sheet) return;
  const boxes = (col) => [...sheet.querySelectorAll(`input[data-col="${col}"]:not(:disabled)`)];

  sheet.addEventListener("keydown", (event) => {
    const box = event.target;
    if (!box.matches("input[data-col]")) return;
    const step = { Enter: event.shiftKey ? -1 : 1, ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (!step) return;
    event.preventDefault();
    const column = boxes(box.dataset.col);
    const next = column[column.indexOf(box) + step];
    // Leaving a box saves it; at the end of a column it is saved where it stands.
    if (next) {
      next.focus();
      next.select();
    } else box.blur();
  });
  sheet.addEventListener("focusin", (event) => {
    if (event.target.matches("input[data-col]")) event.target.select();
  });

  // What the server did not keep is marked, and stays as it was typed.
  sheet.addEventListener("htmx:afterRequest", (event) => {
    const box = event.target;
    if (!box.matches("input[data-col]")) return;
    const kept = event.detail.xhr.status < 300;
    box.toggleAttribute("aria-invalid", false);
    if (!kept) box.setAttribute("aria-invalid", "true");
    const was = sheet.querySelector(`input[name="was-${box.name}"]`);
    if (kept && was) was.value = event.detail.requestConfig.parameters[box.name] ?? box.value;
    box.parentElement.classList.toggle("wrong", !kept);
  });
  window.addEventListener("beforeunload", (event) => {
    const open = [...sheet.querySelectorAll("input[data-col]")].some(
      (box) => box.getAttribute("aria-invalid") === "true" || box.classList.contains("htmx-request"),
    );
    if (open && !sheet.dataset.sent) event.preventDefault();
  });
  sheet.addEventListener("submit", () => {
    sheet.dataset.sent = "yes";
  });
})();
