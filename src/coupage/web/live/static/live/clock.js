// The table's one clock, followed by phones, the host's screen and the wall.
import { minutes } from "./parts.js";

export function shown(clock, asked, now) {
  return clock.elapsed + (clock.running ? Math.max(0, now - asked) : 0);
}

// The step that is on, by the time after the pour, and the one that follows it.
export function stepAt(clock, ms) {
  const timed = clock.steps.filter((step) => step.at !== null);
  if (!clock.begun) return { on: null, next: timed[0] ?? null };
  const past = timed.filter((step) => step.at * 1000 <= ms);
  return { on: past.at(-1) ?? null, next: timed[past.length] ?? null };
}

export class ClockFace {
  // `time`, `step`, `next` and `caution` are elements to write into; the last two may be missing.
  constructor(parts, now) {
    this.parts = parts;
    this.now = now;
    this.step = undefined;
    this.ticking = setInterval(() => this.draw(), 250);
  }

  stop() {
    clearInterval(this.ticking);
  }

  take(clock, asked) {
    this.clock = clock;
    this.asked = asked;
    this.draw();
  }

  draw() {
    if (!this.clock) return;
    const ms = shown(this.clock, this.asked, this.now());
    const { on, next } = stepAt(this.clock, ms);
    const { time, step, next: following, caution } = this.parts;
    write(time, this.clock.begun ? minutes(ms) : "0:00");
    time.classList.toggle("stands", !this.clock.running);
    const name = on ? on.name : "Before the pour";
    write(step, this.clock.begun && !this.clock.running ? `${name} (paused)` : name);
    if (following) write(following, next && on ? `${next.name} in ${minutes(next.at * 1000 - ms + 999)}` : next ? `Then: ${next.name}` : "");
    if (caution) {
      const first = this.clock.steps.find((one) => one.at === null && one.caution);
      write(caution, on ? on.caution : first ? first.caution : "");
      caution.hidden = !caution.textContent;
    }
    if (this.step !== undefined && this.step !== name) this.onstep?.(name);
    this.step = name;
  }
}

function write(element, text) {
  if (element.textContent !== text) element.textContent = text;
}
