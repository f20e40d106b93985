// The way that was gone: undo, redo, and the address that holds the recipe.
import { figure } from "./dom.js";

export class Trace {
  constructor(first, most = 200) {
    this.states = [first];
    this.at = 0;
    this.most = most;
  }

  get now() {
    return this.states[this.at];
  }

  // Keep a state; one that follows at once on the same key press or slide replaces the last.
  keep(state, same = "") {
    if (state.shares.every((v, i) => v === this.now.shares[i])) return false;
    const follows = same && this.now.same === same && performance.now() - this.now.when < 800;
    const kept = { ...state, same, when: performance.now() };
    this.states.length = this.at + 1;
    if (follows && this.at > 0) this.states[this.at] = kept;
    else this.states.push(kept);
    if (this.states.length > this.most) this.states.shift();
    this.at = this.states.length - 1;
    return true;
  }

  go(step) {
    const next = this.at + step;
    if (next < 0 || next >= this.states.length) return null;
    this.at = next;
    return this.now;
  }

  get canUndo() {
    return this.at > 0;
  }

  get canRedo() {
    return this.at < this.states.length - 1;
  }
}

// 12-45.7-55: 45 % of coffee 12, 55 % of coffee 7; the corners come first. A decimal mark is a comma.
export function written(coffees, shares, order) {
  const exact = (ppm) => (ppm % 100 ? String(ppm / 10_000) : figure(ppm)).replace(".", ",");
  return order.map((n) => `${coffees[n].key}-${exact(shares[n])}`).join(".");
}

export function address(coffees, shares, order, shade) {
  const query = `r=${written(coffees, shares, order)}${shade === "chance" ? "" : `&shade=${encodeURIComponent(shade)}`}`;
  return `${location.pathname}?${query}`;
}
