// A coffee that is given a limit is wanted in the blends: its tick follows.
(() => {
  document.addEventListener("input", (event) => {
    const row = event.target.closest(".plan-coffees tr");
    const tick = row?.querySelector("input[type=checkbox]");
    if (!tick || event.target === tick || !event.target.value.trim()) return;
    tick.checked = true;
  });
})();
