// Say that the search goes on when it takes longer than a second.
"use strict";

for (const form of document.querySelectorAll("form")) {
  const note = form.querySelector(".searching");
  if (note) {
    form.addEventListener("submit", () => {
      const timer = setTimeout(() => {
        note.hidden = false;
        note.scrollIntoView({ block: "nearest" });
      }, 1000);
      // A page that comes back from the browser's memory starts afresh.
      addEventListener("pagehide", () => {
        clearTimeout(timer);
        note.hidden = true;
      });
    });
  }
}
