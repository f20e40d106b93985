// Messages leave after a while, unless the pointer or the focus rests on them; those with a way
// back or a warning stay longer.
(() => {
  const SHORT = 6000, LONG = 20000;
  const holder = () => document.getElementById("toasts");

  function start(toast) {
    if (toast.dataset.started) return;
    toast.dataset.started = "yes";
    const close = toast.querySelector("[data-dismiss]");
    if (close) {
      close.hidden = false;
      close.addEventListener("click", () => toast.remove());
    }
    if (toast.matches(".warning, .error")) return;
    const wait = toast.querySelector("form") ? LONG : SHORT;
    let timer = setTimeout(() => toast.remove(), wait);
    for (const name of ["pointerenter", "focusin"]) toast.addEventListener(name, () => clearTimeout(timer));
    for (const name of ["pointerleave", "focusout"]) {
      toast.addEventListener(name, () => {
        clearTimeout(timer);
        timer = setTimeout(() => toast.remove(), wait);
      });
    }
  }

  function say(text) {
    const toast = document.createElement("div");
    toast.className = "toast warning";
    const words = document.createElement("p");
    words.textContent = text;
    const close = document.createElement("button");
    close.type = "button";
    close.className = "button quiet small";
    close.textContent = "Close";
    close.dataset.dismiss = "";
    toast.append(words, close);
    holder().append(toast);
    start(toast);
  }

  const startAll = () => { for (const toast of document.querySelectorAll("[data-toast]")) start(toast); };
  startAll();
  document.addEventListener("htmx:afterSettle", startAll);
  document.addEventListener("htmx:oobAfterSwap", startAll);
  document.addEventListener("coupage:say", (event) => say(event.detail));
})();
