// The host's clock: the same face as on the phones, with the whole timeline under it.
import { ClockFace, shown, stepAt } from "./clock.js";
import { h, minutes } from "./parts.js";

const PULSE_MS = 2000;
const place = (id) => document.getElementById(id);
let offset = null;
let face = null;

const now = () => Date.now() + (offset ?? 0);

function timeline(clock, asked) {
  const list = place("timeline");
  const { on } = stepAt(clock, shown(clock, asked, now()));
  list.replaceChildren(...clock.steps.map((step) => {
    const past = clock.begun && (step.at === null || (on && step.at < on.at));
    return h("li", { class: step === on ? "is-on" : past ? "is-past" : "", "aria-current": step === on ? "step" : null },
      h("span", { class: "step-at" }, step.at === null ? "before" : minutes(step.at * 1000)),
      h("div", {}, h("strong", {}, step.name), step.caution ? h("p", { class: "step-caution" }, step.caution) : null));
  }));
}

function take(clock, asked) {
  face.take(clock, asked);
  timeline(clock, asked);
}

function start() {
  const part = place("clock");
  if (!part || part.dataset.started) return;
  part.dataset.started = "yes";
  const asked = Number(part.dataset.now);
  offset ??= asked - Date.now();
  face?.stop();
  face = new ClockFace({ time: place("clock-time"), step: place("clock-step"), next: place("clock-next"), caution: place("clock-caution") }, now);
  face.onstep = (name) => {
    place("told").textContent = `Now: ${name}`;
    timeline(face.clock, face.asked);
  };
  take(JSON.parse(part.dataset.clock), asked);
}

async function pulse() {
  try {
    const began = Date.now();
    const answer = await fetch(place("clock").dataset.pulse, { cache: "no-store" });
    if (answer.ok) {
      const data = await answer.json();
      offset = data.now + (Date.now() - began) / 2 - Date.now();
      const changed = JSON.stringify([data.clock.running, data.clock.begun, data.clock.steps]) !== JSON.stringify([face.clock.running, face.clock.begun, face.clock.steps]);
      take(data.clock, data.now);
      // The buttons belong to a clock that runs or stands: fetched anew when somebody else turned it.
      if (changed) document.dispatchEvent(new CustomEvent("coupage:turned"));
    }
  } catch {
    // The next one tries again; the clock goes on by itself.
  }
  setTimeout(pulse, PULSE_MS);
}

document.addEventListener("htmx:afterSettle", start);
document.addEventListener("htmx:oobAfterSwap", start);
start();
if (place("clock")) pulse();
