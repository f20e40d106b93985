// The line to the server. Every touch is stored first and sent after; what was sent is sent again
// until the server has said what became of it. The server keeps a touch once, however often it comes.
import { drawKey } from "./parts.js";
import { recall, remember } from "./store.js";

const PULSE_MS = 4000;
const HIDDEN_PULSE_MS = 15000;
const PATIENCE_MS = 8000;
const AT_ONCE = 100;
const WAITS_MS = [500, 1000, 2000, 4000, 8000];

async function ask(address, options = {}) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), PATIENCE_MS);
  try {
    const answer = await fetch(address, { cache: "no-store", credentials: "omit", signal: stop.signal, ...options });
    return { status: answer.status, data: answer.status < 500 && answer.status !== 404 ? await answer.json() : null };
  } finally {
    clearTimeout(timer);
  }
}

export class Line extends EventTarget {
  constructor(addresses, store, touches, pageNow, now = 0) {
    super();
    this.addresses = addresses;
    this.store = store;
    this.touches = touches;
    this.device = recall("device") || drawKey();
    remember("device", this.device);
    // How far this device's clock is off the table's; the page itself may come from a cache.
    const kept = recall("offset");
    this.offset = kept === null ? pageNow - Date.now() : Number(kept);
    this.last = now;
    this.online = true;
    this.notStored = false;
    this.gone = false;
    this.failures = 0;
    this.others = null;
    this.sentAt = null;
  }

  start() {
    document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && this.pulse());
    for (const event of ["online", "pageshow"]) window.addEventListener(event, () => this.again());
    window.addEventListener("offline", () => this.heard(false));
    this.pulse();
    this.flush();
  }

  now() {
    return Date.now() + this.offset;
  }

  unsent() {
    return this.touches.filter((touch) => !touch.fate);
  }

  // What this device sent and the server said it had.
  settled() {
    return this.touches.filter(({ fate, device }) => fate && fate !== "refused" && device === this.device);
  }

  tell(kind, detail) {
    this.dispatchEvent(new CustomEvent(kind, { detail }));
  }

  heard(online) {
    if (this.online === online) return;
    this.online = online;
    this.tell("line");
  }

  // Store one touch, then send. The time never stands still, so that of two touches one is later.
  async add(what) {
    this.last = Math.max(Math.round(this.now()), this.last + 1);
    const touch = { key: drawKey(), device: this.device, at: this.last, stored: false, ...what };
    this.touches.push(touch);
    this.tell("touch", touch);
    // Until it is stored nothing may say that all is safe: a reload now could still lose it.
    this.tell("line");
    try {
      await this.store.write([{ ...touch, stored: true }]);
      touch.stored = true;
      this.notStored = false;
    } catch {
      this.notStored = true;
    }
    this.tell("line");
    this.flush();
    return touch;
  }

  again() {
    this.failures = 0;
    clearTimeout(this.waiting);
    this.flush();
    this.pulse();
  }

  async flush() {
    if (this.flushing || this.gone) return;
    clearTimeout(this.waiting);
    const batch = this.unsent().slice(0, AT_ONCE);
    if (!batch.length) return;
    this.flushing = true;
    try {
      await this.send(batch);
      this.failures = 0;
      this.heard(true);
    } catch {
      this.failures += 1;
      this.heard(false);
    }
    this.flushing = false;
    this.tell("line");
    if (this.unsent().length) {
      const wait = this.failures ? WAITS_MS[Math.min(this.failures, WAITS_MS.length) - 1] : 0;
      this.waiting = setTimeout(() => this.flush(), wait);
    }
  }

  async send(batch) {
    const rows = batch.map(({ key, at, what, cup, pass, attribute, value, word, on }) => ({ key, at, what, cup, pass, attribute, value, word, on }));
    const body = JSON.stringify({ device: this.device, touches: rows, waiting: this.unsent().length - batch.length });
    const { status, data } = await ask(this.addresses.touches, {
      method: "POST",
      body,
      headers: { "Content-Type": "application/json" },
    });
    if (status === 404) return this.lose();
    if (status === 200) return this.settle(batch, data.fates, data.now);
    if (status !== 422) throw new Error("no answer that can be used");
    if (data.problem && batch.length > 1) {
      // One of them is not right; alone, the others are kept and that one is told.
      for (const touch of batch) await this.send([touch]);
      return undefined;
    }
    batch[0].why = data.problem;
    return this.settle(batch, { [batch[0].key]: "refused" }, this.now());
  }

  async settle(batch, fates, now) {
    const settled = batch.filter((touch) => fates[touch.key]);
    for (const touch of settled) Object.assign(touch, { fate: fates[touch.key], acked: now });
    this.sentAt = Date.now();
    await this.store.write(settled).catch(() => undefined);
    this.tell("settled", settled);
  }

  lose() {
    this.gone = true;
    this.tell("gone");
  }

  async pulse() {
    clearTimeout(this.beat);
    if (this.gone) return;
    const waiting = this.unsent().length;
    const settled = this.settled();
    const began = Date.now();
    try {
      const { status, data } = await ask(`${this.addresses.pulse}?device=${this.device}&waiting=${waiting}`);
      if (status === 404) return this.lose();
      if (status !== 200) throw new Error("no pulse");
      const took = Date.now() - began;
      if (took < 2000) {
        this.offset = Math.round(data.now + took / 2 - Date.now());
        remember("offset", this.offset);
      }
      this.failures = 0;
      this.heard(true);
      await this.compare(data, settled);
      this.tell("pulse", data);
    } catch {
      this.heard(false);
    }
    this.beat = setTimeout(() => this.pulse(), document.visibilityState === "visible" ? PULSE_MS : HIDDEN_PULSE_MS);
    return undefined;
  }

  // The server has less than it once said it had, as after an older copy was put back: send all again.
  async compare({ have, others }, settled) {
    if (have < settled.length) {
      for (const touch of settled) delete touch.fate;
      await this.store.write(settled).catch(() => undefined);
    }
    if (this.others !== null && others > this.others) this.tell("others");
    this.others = others;
    if (this.unsent().length) this.flush();
  }
}
