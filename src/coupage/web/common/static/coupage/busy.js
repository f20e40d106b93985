// A form is sent once, however often the button is pressed; what takes long says so meanwhile.
// Mark a form or a link with data-slow="Looking through all recipes". What only asks can be stopped.
(() => {
  const SOON = 400; // no note for what is quick
  let note, ticking;

  function quiet() {
    clearInterval(ticking);
    note?.remove();
    note = undefined;
    for (const form of document.querySelectorAll("form[data-sent]")) delete form.dataset.sent;
  }

  function busy(text, onlyAsks) {
    const began = Date.now();
    clearInterval(ticking);
    ticking = setInterval(() => {
      const waited = Date.now() - began;
      if (waited < SOON) return;
      if (!note) {
        note = document.createElement("div");
        note.className = "busy";
        note.setAttribute("role", "status");
        const words = document.createElement("p");
        words.textContent = `${text} …`;
        const seconds = document.createElement("span");
        seconds.setAttribute("aria-hidden", "true");
        const bar = document.createElement("progress");
        bar.setAttribute("aria-label", text);
        note.append(words, seconds, bar);
        if (onlyAsks) {
          const stop = document.createElement("button");
          stop.type = "button";
          stop.className = "button quiet small";
          stop.textContent = "Stop";
          stop.addEventListener("click", () => {
            window.stop();
            quiet();
          });
          note.append(stop);
        }
        document.body.append(note);
      }
      note.querySelector("span").textContent = `${Math.floor(waited / 1000)} s`;
    }, 200);
  }

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (event.defaultPrevented || form.closest("[hx-post], [hx-get]") === form) return;
    if (form.dataset.sent) {
      event.preventDefault();
      return;
    }
    form.dataset.sent = "yes";
    if (form.dataset.slow) busy(form.dataset.slow, form.method === "get");
  });
  document.addEventListener("click", (event) => {
    const link = event.target.closest("a[data-slow]");
    const elsewhere = event.metaKey || event.ctrlKey || event.shiftKey || event.button !== 0;
    if (link && !elsewhere && !event.defaultPrevented) busy(link.dataset.slow, true);
  });
  // Back from another page, or stopped: the form can be sent again.
  window.addEventListener("pageshow", (event) => { if (event.persisted) quiet(); });
  document.addEventListener("keydown", (event) => { if (event.key === "Escape") quiet(); });
})();
