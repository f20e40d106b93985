// The wall: follows the clock until the reveal, then unfolds sample by sample, code first.
import { ClockFace } from "./clock.js";

const place = (id) => document.getElementById(id);

function follow(part) {
  let offset = Number(part.dataset.now) - Date.now();
  const face = new ClockFace({ time: place("clock-time"), step: place("clock-step"), next: place("clock-next"), caution: place("clock-caution") }, () => Date.now() + offset);
  face.take(JSON.parse(part.dataset.clock), Number(part.dataset.now));
  const pulse = async () => {
    try {
      const began = Date.now();
      const answer = await fetch(part.dataset.pulse, { cache: "no-store" });
      if (answer.ok) {
        const data = await answer.json();
        offset = data.now + (Date.now() - began) / 2 - Date.now();
        face.take(data.clock, data.now);
        if (data.state !== part.dataset.state) location.reload();
      }
    } catch {
      // The next one tries again.
    }
    setTimeout(pulse, 2000);
  };
  pulse();
}

function unfold(all) {
  const steps = [...all.querySelectorAll(".wall-step")];
  // A sample takes two steps: its code with what was said, then what it was.
  const stops = steps.flatMap((step, at) => (step.querySelector("[data-later]") ? [[at, false], [at, true]] : [[at, true]]));
  let here = Math.min(Number(location.hash.slice(1)) || 0, stops.length - 1);
  const show = () => {
    const [at, told] = stops[here];
    steps.forEach((step, which) => { step.hidden = which !== at; });
    const later = steps[at].querySelector("[data-later]");
    if (later) later.classList.toggle("told", told);
    later?.toggleAttribute("inert", !told);
    later?.setAttribute("aria-hidden", String(!told));
    place("wall-where").textContent = `${here + 1} of ${stops.length}`;
    place("wall-back").disabled = here === 0;
    place("wall-on").disabled = here === stops.length - 1;
    history.replaceState(null, "", `#${here}`);
  };
  const go = (by) => {
    here = Math.min(stops.length - 1, Math.max(0, here + by));
    show();
  };
  place("wall-back").addEventListener("click", () => go(-1));
  place("wall-on").addEventListener("click", () => go(1));
  document.addEventListener("keydown", (event) => {
    if (event.target.matches("input, button, a, summary") && event.key === " ") return;
    const by = { ArrowRight: 1, PageDown: 1, " ": 1, ArrowLeft: -1, PageUp: -1 }[event.key];
    if (!by || event.altKey || event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    go(by);
  });
  show();
}

if (place("clock")) follow(place("clock"));
if (place("unfold")) unfold(place("unfold"));
