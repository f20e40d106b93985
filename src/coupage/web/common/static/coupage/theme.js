// Light or dark before the first paint; the choice stays in this browser.
(() => {
  const KEY = "coupage-theme";
  const root = document.documentElement;
  const read = () => {
    try { return localStorage.getItem(KEY) || "auto"; } catch { return "auto"; }
  };
  const show = (theme) => {
    if (theme === "light" || theme === "dark") root.dataset.theme = theme;
    else delete root.dataset.theme;
  };
  show(read());
  document.addEventListener("DOMContentLoaded", () => {
    for (const set of document.querySelectorAll("[data-theme-choice]")) {
      set.hidden = false;
      for (const input of set.querySelectorAll("input")) input.checked = input.value === read();
      set.addEventListener("change", (event) => {
        try { localStorage.setItem(KEY, event.target.value); } catch { /* private window */ }
        show(event.target.value);
      });
    }
  });
})();
