// The taster's sheet: one cup at a time, every touch kept on the phone first and then sent.
import { ClockFace } from "./clock.js";
import { cupScreen } from "./sheet-cup.js";
import { endScreen, twoScreen } from "./sheet-end.js";
import { Line } from "./sheet-line.js";
import { Model } from "./sheet-model.js";
import { note } from "./caffeine.js";
import { h, many } from "./parts.js";
import { openStore } from "./store.js";
import { keepAwake, keepReachable } from "./device.js";

const place = (id) => document.getElementById(id);

class Sheet {
  constructor(data, store, line) {
    Object.assign(this, { data, store, line });
    this.model = new Model(data, line.touches);
    this.state = data.state;
    this.face = new ClockFace({ time: place("clock-time"), step: place("clock-step"), next: place("clock-next"), caution: place("clock-caution") }, () => line.now());
    this.face.onstep = (name) => {
      place("told").textContent = `Now: ${name}`;
      navigator.vibrate?.(200);
    };
    this.face.take(data.clock, data.now);
    this.nudged = Number(sessionStorage.getItem("nudged") || 0);
  }

  start() {
    const { line } = this;
    line.addEventListener("line", () => this.showLine());
    line.addEventListener("touch", ({ detail }) => this.model.apply(detail));
    line.addEventListener("settled", ({ detail }) => this.settled(detail));
    line.addEventListener("pulse", ({ detail }) => this.pulse(detail));
    line.addEventListener("others", () => this.again());
    line.addEventListener("gone", () => this.leave());
    window.addEventListener("hashchange", () => this.drawn !== location.hash && this.draw(true));
    document.addEventListener("visibilitychange", () => keepAwake(place("awake")));
    document.addEventListener("click", () => keepAwake(place("awake")), { once: true });
    place("previous").addEventListener("click", () => this.move(-1));
    place("next").addEventListener("click", () => this.move(1));
    this.draw();
    this.showLine();
    keepReachable(this.data.at.worker, place("reachable"));
    line.start();
    this.store.clear(line.now());
  }

  get locked() {
    return this.state !== "open";
  }

  // --- what a taster does ---

  give(cup, pass, attribute, value, quiet = false) {
    this.line.add({ what: "rating", cup, pass, attribute, value });
    if (!quiet) this.drawRow();
  }

  say(cup, word, on) {
    if (on === this.model.wordsOf(cup).has(word)) return;
    this.line.add({ what: "word", cup, word, on });
    this.draw();
    if (on) place("word")?.focus();
  }

  mark(cup, on) {
    this.line.add({ what: "fault", cup, on });
    this.draw();
  }

  finish(on) {
    this.line.add({ what: "done", on });
    this.draw();
  }

  // Words this taster said at other cups come first.
  ownWords() {
    return [...new Set([...this.model.said.values()].flatMap((words) => [...words]))];
  }

  // --- where one is ---

  where() {
    const [, first, second] = location.hash.split("/");
    const { passes, cups } = this.data;
    if (first === "end" || first === "two") return { screen: first };
    const p = Number(first) - 1, c = Number(second) - 1;
    if (p >= 0 && p < passes.length && c >= 0 && c < cups.length) return { screen: "cup", p, c };
    const gap = this.model.missing()[0];
    return gap ? { screen: "cup", p: gap.p, c: gap.c } : { screen: "end" };
  }

  move(by) {
    const { passes, cups } = this.data;
    const { screen, p, c } = this.where();
    const last = passes.length * cups.length;
    const at = (screen === "cup" ? p * cups.length + c : last) + by;
    if (at < 0) return;
    location.hash = at >= last ? "#/end" : `#/${Math.floor(at / cups.length) + 1}/${(at % cups.length) + 1}`;
    // At once, not when the browser gets round to it: a quick finger would still hit the cup before.
    this.draw(true);
  }

  // --- what is shown ---

  draw(moved = false) {
    const main = place("screen");
    const focus = document.activeElement?.id;
    if (!this.data.cups.length) main.replaceChildren(...waiting(this));
    else {
      const { screen, p, c } = this.where();
      // Once shown, a cup stays until the taster moves on, complete or not.
      if (screen === "cup" && !location.hash) history.replaceState(null, "", `#/${p + 1}/${c + 1}`);
      main.replaceChildren(...{ cup: () => cupScreen(this, p, c), end: () => endScreen(this), two: () => twoScreen(this) }[screen]().filter(Boolean));
      place("previous").disabled = screen === "cup" && p === 0 && c === 0;
      place("next").disabled = screen !== "cup";
      main.querySelector(".cup-row [aria-current]")?.scrollIntoView({ block: "nearest", inline: "center" });
    }
    this.drawn = location.hash;
    place("move").hidden = !this.data.cups.length;
    if (moved) {
      window.scrollTo(0, 0);
      main.querySelector("h1")?.focus({ preventScroll: true });
    } else if (focus) place(focus)?.focus({ preventScroll: true });
    note(this);
  }

  // Only the row of cups follows a rating, so that the finger stays on what it slides.
  drawRow() {
    const { screen, p } = this.where();
    if (screen !== "cup") return;
    for (const link of place("screen").querySelectorAll(".cup-row a")) {
      const code = link.firstChild.textContent;
      const state = this.model.state(code, this.data.passes[p].key);
      link.className = state;
      link.lastChild.textContent = `, ${{ done: "rated", begun: "begun", none: "not rated yet" }[state]}`;
    }
    note(this);
  }

  showLine() {
    const { line } = this;
    const waitingHere = line.unsent().length;
    document.documentElement.dataset.kept = line.touches.filter((touch) => touch.stored || touch.fate).length;
    const stored = this.store.kind !== "page" && !line.notStored;
    let text = line.sentAt ? `All sent, ${new Date(line.sentAt).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" })}` : "All sent";
    if (!line.touches.length) text = line.online ? "Nothing to send" : "No connection; enter all the same";
    if (waitingHere && stored) text = line.online ? `Saved on this phone, sending ${waitingHere}` : `Saved on this phone: ${waitingHere} to send when the network is back`;
    if (stored && line.unsent().some((touch) => !touch.stored)) text = "Saving on this phone";
    if (waitingHere && !stored) text = `Not saved on this phone: leave this page open until ${many(waitingHere, "touch is", "touches are")} sent`;
    const status = place("line");
    if (status.textContent !== text) status.textContent = text;
    status.className = waitingHere ? (stored ? "on-the-way" : "not-kept") : line.online ? "sent" : "on-the-way";
  }

  tellOnce(text) {
    place("told").textContent = text;
  }

  notice(id, ...children) {
    const box = place(id);
    box.replaceChildren(...children);
    box.hidden = !children.length;
  }

  settled(touches) {
    const refused = touches.filter(({ fate }) => fate === "refused");
    if (refused.length) this.notice("refused", h("p", {}, refused[0].why || "The server could not keep that."));
    if (touches.some(({ fate }) => fate === "late")) this.late();
    if (touches.some(({ fate }) => fate === "older")) this.again();
  }

  late() {
    const late = this.line.touches.filter(({ fate }) => fate === "late").length;
    if (late) this.notice("late", h("p", {}, `Thank you. ${many(late, "touch", "touches")} of yours came after the close. They are kept apart, and the host can still let them count.`));
  }

  pulse(data) {
    this.face.take(data.clock, data.now);
    if (data.state !== this.state) {
      const opened = this.state === "planned" && data.state === "open";
      this.state = data.state;
      if (opened) this.again();
      else this.closed();
    }
    if (data.nudged > this.nudged) {
      this.nudged = data.nudged;
      sessionStorage.setItem("nudged", String(data.nudged));
      this.nudge();
    }
  }

  nudge() {
    const gaps = this.model.missing();
    if (!gaps.length) return;
    navigator.vibrate?.([150, 100, 150]);
    const links = gaps.slice(0, 6).map((gap) => h("li", {}, h("a", { href: `#/${gap.p + 1}/${gap.c + 1}`, onclick: () => this.notice("nudge") }, `${gap.cup} ${gap.pass.name}`)));
    this.notice("nudge", h("p", {}, h("strong", {}, "The host asks for these cups:")), h("ul", { class: "gaps" }, links));
  }

  closed() {
    const said = { revealed: "The host closed the table and revealed it. What you entered before is in.", void: "The host called this table off." }[this.state];
    if (said) this.notice("closed", h("p", {}, said), this.state === "revealed" ? h("p", {}, h("a", { class: "button", href: location.pathname }, "See what you tasted")) : "");
    else this.notice("closed");
    this.draw();
  }

  // Ask for the sheet anew: the table was opened, or another device of this seat had the last word.
  async again() {
    try {
      const answer = await fetch(this.data.at.sheet, { cache: "no-store", credentials: "omit" });
      if (!answer.ok) return;
      this.data = await answer.json();
      this.state = this.data.state;
      this.model.take(this.data, this.line.touches);
      this.face.take(this.data.clock, this.data.now);
      const busy = place("screen").contains(document.activeElement) && document.activeElement.matches("input");
      if (!busy || !place("screen").querySelector(".slides")) this.draw();
    } catch {
      // The next pulse tries again.
    }
  }

  leave() {
    this.notice("closed", h("p", {}, "Your seat was taken away, or this link was ended. What you entered stays on this phone. Ask the host."));
  }
}

function waiting(sheet) {
  return [
    h("h1", { tabindex: -1 }, sheet.data.table),
    h("p", {}, `Welcome, ${sheet.data.taster}. The table is not open yet: your cups appear here as soon as the host opens it.`),
    h("ol", { class: "ahead" }, sheet.data.clock.steps.map((step) => h("li", {}, h("strong", {}, step.name), step.caution ? h("p", { class: "help" }, step.caution) : null))),
  ];
}

const data = JSON.parse(place("sheet-data").textContent);
const store = await openStore(data.token);
const touches = await store.all().catch(() => []);
const line = new Line(data.at, store, touches, data.now, Math.max(0, ...touches.map((touch) => touch.at)));
if (place("screen")) new Sheet(data, store, line).start();
else {
  // After the reveal: what is still on this phone is sent, and kept apart by the server.
  const told = place("late-note");
  const say = () => {
    const late = line.touches.filter(({ fate }) => fate === "late").length;
    if (!late) return;
    told.hidden = false;
    told.textContent = `${many(late, "touch", "touches")} of yours came after the close. They are kept apart, and the host can still let them count.`;
  };
  line.addEventListener("settled", say);
  say();
  line.start();
}
document.documentElement.dataset.sheet = "ready";
