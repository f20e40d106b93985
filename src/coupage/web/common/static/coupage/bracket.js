// A range dragged on a scale, beside the two boxes in which it is typed. The boxes stay the form's
// own: without this script nothing is lost. An empty box means the end of the scale; a box that is
// switched off takes its handle away.
(() => {
  const parse = (text) => {
    const plain = text.replace(/[\s'’%]/g, "").replace(",", ".");
    return plain === "" ? null : Number(plain);
  };

  function start(place) {
    if (place.dataset.started) return;
    place.dataset.started = "yes";
    const { from, to, name, unit } = place.dataset;
    const [least, most, step] = ["least", "most", "step"].map((key) => Number(place.dataset[key]));
    const boxes = [document.getElementById(from), document.getElementById(to)];
    const ends = [least, most];
    const track = document.createElement("div");
    const band = document.createElement("div");
    track.className = "bracket-track";
    band.className = "bracket-band";
    track.append(band);
    const handles = boxes.map((box, side) => {
      const handle = document.createElement("div");
      handle.className = `bracket-handle ${side ? "upper" : "lower"}`;
      handle.tabIndex = 0;
      handle.setAttribute("role", "slider");
      handle.setAttribute("aria-label", `${name}: ${side ? "at most" : "at least"}`);
      handle.setAttribute("aria-orientation", "horizontal");
      track.append(handle);
      return handle;
    });
    place.append(track);
    place.hidden = false;

    const there = (side) => boxes[side] && !boxes[side].disabled;
    const value = (side) => {
      const typed = there(side) ? parse(boxes[side].value) : null;
      return typed === null || Number.isNaN(typed) ? ends[side] : Math.min(most, Math.max(least, typed));
    };
    const at = (number) => `${(100 * (number - least)) / (most - least)}%`;

    function draw() {
      const values = [value(0), value(1)];
      const crossed = values[0] > values[1];
      band.style.left = at(Math.min(...values));
      band.style.right = `calc(100% - ${at(Math.max(...values))})`;
      track.classList.toggle("crossed", crossed);
      handles.forEach((handle, side) => {
        handle.hidden = !there(side);
        handle.style.left = at(values[side]);
        handle.setAttribute("aria-valuemin", String(side ? values[0] : least));
        handle.setAttribute("aria-valuemax", String(side ? most : values[1]));
        handle.setAttribute("aria-valuenow", String(values[side]));
        handle.setAttribute("aria-valuetext", `${values[side]} ${unit}`.trim());
      });
    }

    function set(side, number) {
      const other = there(1 - side) ? value(1 - side) : ends[1 - side];
      const places = (String(step).split(".")[1] ?? "").length;
      const stepped = Number((least + Math.round((number - least) / step) * step).toFixed(places));
      const kept = side ? Math.max(other, Math.min(most, stepped)) : Math.min(other, Math.max(least, stepped));
      const text = kept === ends[side] && !place.dataset.ends ? "" : String(kept);
      if (boxes[side].value === text) return;
      boxes[side].value = text;
      boxes[side].dispatchEvent(new Event("input", { bubbles: true }));
      boxes[side].dispatchEvent(new Event("change", { bubbles: true }));
    }

    const under = (event) => {
      const box = track.getBoundingClientRect();
      return least + ((event.clientX - box.left) / box.width) * (most - least);
    };
    // The nearer handle follows a press anywhere on the scale; of two in one place the one that can move.
    function nearer(number) {
      if (!there(0) || !there(1)) return there(0) ? 0 : 1;
      const [low, high] = [value(0), value(1)];
      if (low === high) return number > high || high === least ? 1 : 0;
      return Math.abs(number - low) <= Math.abs(number - high) ? 0 : 1;
    }
    let held = null;
    track.addEventListener("pointerdown", (event) => {
      if (event.button > 0 || (!there(0) && !there(1))) return;
      held = nearer(under(event));
      track.setPointerCapture(event.pointerId);
      handles[held].focus({ preventScroll: true });
      set(held, under(event));
      event.preventDefault();
    });
    track.addEventListener("pointermove", (event) => { if (held !== null) set(held, under(event)); });
    for (const kind of ["pointerup", "pointercancel", "lostpointercapture"]) {
      track.addEventListener(kind, () => { held = null; });
    }
    const moves = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -5, PageUp: 5 };
    handles.forEach((handle, side) => handle.addEventListener("keydown", (event) => {
      let number = null;
      if (event.key in moves) number = value(side) + moves[event.key] * step;
      if (event.key === "Home") number = least;
      if (event.key === "End") number = most;
      if (number === null) return;
      event.preventDefault();
      set(side, number);
    }));
    for (const box of boxes) box?.addEventListener("input", draw);
    place.closest("form")?.addEventListener("change", draw);
    draw();
  }

  const all = (root) => { for (const place of root.querySelectorAll("[data-bracket]")) start(place); };
  all(document);
  document.addEventListener("htmx:load", (event) => all(event.detail.elt));
})();
