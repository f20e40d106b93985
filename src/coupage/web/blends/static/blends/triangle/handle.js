// The proposed recipe as a handle: dragged by mouse or touch, moved by arrow keys, or set by a tap.
import { weightsAt } from "./place.js";

const FAR = 10; // steps with Shift, Page Up and Page Down
const STILL = 10; // px that a finger may wander in a tap

export function startHandle(svg, handle, ask) {
  const at = (event) => {
    const box = svg.getBoundingClientRect();
    const view = svg.viewBox.baseVal;
    return weightsAt(((event.clientX - box.left) * view.width) / box.width, ((event.clientY - box.top) * view.height) / box.height);
  };
  let dragging = null;

  handle.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    dragging = event.pointerId;
    handle.setPointerCapture(event.pointerId);
    handle.classList.add("held");
    handle.focus({ preventScroll: true });
    event.preventDefault();
  });
  handle.addEventListener("pointermove", (event) => {
    if (event.pointerId === dragging) ask.drag(at(event));
  });
  const drop = (event) => {
    if (event.pointerId !== dragging) return;
    dragging = null;
    handle.classList.remove("held");
    ask.dropped();
  };
  handle.addEventListener("pointerup", drop);
  handle.addEventListener("pointercancel", drop);

  // A tap anywhere inside puts it there. A touch that scrolls the page ends in pointercancel.
  let tap = null;
  svg.addEventListener("pointerdown", (event) => {
    tap = event.button === 0 && event.isPrimary && !handle.contains(event.target) ? [event.clientX, event.clientY] : null;
  });
  svg.addEventListener("pointercancel", () => { tap = null; });
  svg.addEventListener("pointerup", (event) => {
    const still = tap && Math.hypot(event.clientX - tap[0], event.clientY - tap[1]) < STILL;
    tap = null;
    if (!still) return;
    const weights = at(event);
    if (Math.min(...weights) < -0.02) return;
    ask.drag(weights);
    ask.dropped();
  });

  handle.addEventListener("keydown", (event) => {
    const far = event.shiftKey ? FAR : 1;
    const keys = { ArrowUp: ["up", far], ArrowDown: ["up", -far], PageUp: ["up", FAR], PageDown: ["up", -FAR], ArrowRight: ["right", far], ArrowLeft: ["right", -far], Home: ["home", 0] };
    const found = keys[event.key];
    if (!found || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    ask.step(...found);
  });
}
