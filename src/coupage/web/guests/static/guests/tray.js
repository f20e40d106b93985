// A guest's answer is kept on the phone first and sent until the server has it; its key keeps it from counting twice.
(() => {
  const kept = () => document.getElementById("kept");
  const place = `coupage-answer:${location.pathname}`;
  const say = (text) => {
    if (kept()) kept().textContent = text;
  };
  const store = {
    get: () => {
      try {
        return localStorage.getItem(place);
      } catch {
        return null;
      }
    },
    set: (text) => {
      try {
        localStorage.setItem(place, text);
      } catch {
        /* a private window keeps nothing; sending goes on all the same */
      }
    },
    drop: () => {
      try {
        localStorage.removeItem(place);
      } catch {
        /* nothing was kept */
      }
    },
  };
  let sending = false;
  let waiting = null;

  function show(html) {
    const fresh = new DOMParser().parseFromString(html, "text/html").getElementById("main");
    if (fresh) document.getElementById("main").replaceWith(fresh);
    fresh?.focus();
    start();
  }

  async function send(body) {
    if (sending) return;
    sending = true;
    clearTimeout(waiting);
    say("Kept on this phone, on its way …");
    try {
      const answer = await fetch(location.pathname, {
        method: "POST",
        headers: { "Content-Type": "application/x-www-form-urlencoded" },
        body,
      });
      if (answer.status >= 500) throw new Error(String(answer.status));
      store.drop();
      show(await answer.text());
      if (answer.ok) say("Kept.");
    } catch {
      say("Kept on this phone. It is sent as soon as the network is back; leave this page open.");
      waiting = setTimeout(() => send(body), 4000);
    } finally {
      sending = false;
    }
  }

  function start() {
    const form = document.querySelector("[data-tray-form]");
    form?.addEventListener("submit", (event) => {
      if (!form.querySelector("input[name=picked]:checked")) return;
      event.preventDefault();
      event.stopPropagation();
      const body = new URLSearchParams(new FormData(form)).toString();
      store.set(body);
      send(body);
    });
  }

  window.addEventListener("online", () => {
    const body = store.get();
    if (body) send(body);
  });
  start();
  const before = store.get();
  if (before) send(before);
})();
