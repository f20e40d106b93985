// Counts the seconds of what is in the drum, from what the server said when the page came.
const shown = [...document.querySelectorAll("[data-elapsed]")];
const began = performance.now();
const tick = () => {
  const passed = Math.floor((performance.now() - began) / 1000);
  for (const clock of shown) {
    const seconds = Number(clock.dataset.elapsed) + passed;
    clock.textContent = `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
  }
};
if (shown.length) {
  tick();
  setInterval(tick, 500);
}
