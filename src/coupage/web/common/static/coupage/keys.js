// Single keys for lists. They can be turned off, and do nothing while something is typed (WCAG 2.2,
// 2.1.4 Character Key Shortcuts).
(() => {
  const KEY = "coupage-keys";
  const box = document.getElementById("keys-on");
  const read = () => {
    try { return localStorage.getItem(KEY) !== "off"; } catch { return true; }
  };
  if (box) {
    box.checked = read();
    box.addEventListener("change", () => {
      try { localStorage.setItem(KEY, box.checked ? "on" : "off"); } catch { /* private window */ }
    });
  }
  const typing = (element) => element.closest("input, select, textarea, [contenteditable], dialog");

  function step(by) {
    const links = [...document.querySelectorAll("table.data tbody tr")].map((row) => row.querySelector("th a, td a, a")).filter(Boolean);
    if (!links.length) return;
    const at = links.findIndex((link) => link.closest("tr").contains(document.activeElement));
    const next = at < 0 ? (by > 0 ? 0 : links.length - 1) : Math.min(links.length - 1, Math.max(0, at + by));
    links[next].focus();
    links[next].closest("tr").scrollIntoView({ block: "nearest" });
  }

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || typing(event.target) || !(box ? box.checked : read())) return;
    if (event.key === "/") {
      const search = document.querySelector("[data-search]");
      if (search) { event.preventDefault(); search.focus(); search.select(); }
    } else if (event.key === "j") step(1);
    else if (event.key === "k") step(-1);
    else if (event.key === "?") document.getElementById("keys")?.showModal();
  });
})();
