// What htmx does not do by itself: say when the server did not answer, renew an old page, open
// and close the menu, print.
(() => {
  const say = (text) => document.dispatchEvent(new CustomEvent("coupage:say", { detail: text }));

  document.addEventListener("htmx:responseError", (event) => {
    const { xhr } = event.detail;
    const token = xhr.getResponseHeader("X-Fresh-Token");
    if (token) {
      document.body.setAttribute("hx-headers", JSON.stringify({ "x-csrftoken": token }));
      for (const input of document.querySelectorAll("input[name=csrfmiddlewaretoken]")) input.value = token;
      say("This page had grown old and is renewed now. Nothing was saved yet: do it once more.");
    } else if (xhr.status === 403) say("Your role does not include that. Nothing was changed.");
    else if (xhr.status === 404) say("That is no longer there. Reload the page.");
    else if (xhr.status === 413) say("Too large to take in. Nothing was changed.");
    else say("Something went wrong on our side. Check what was saved, then try again.");
  });
  for (const name of ["htmx:sendError", "htmx:timeout"]) {
    document.addEventListener(name, () => say("No answer from the server. Your typing is still here; try again."));
  }
  // A session that ended answers with the sign-in page; inside a part of this page it would confuse.
  document.addEventListener("htmx:beforeSwap", (event) => {
    if (document.body.dataset.signedIn === "yes" && event.detail.serverResponse.includes('data-signed-in="no"')) {
      event.detail.shouldSwap = false;
      say("You are no longer signed in. Your typing is still here: sign in on a second tab, then try again.");
    }
  });

  document.addEventListener("click", (event) => {
    if (event.target.closest("[data-print]")) window.print();
    const opener = event.target.closest("[data-open-dialog]");
    if (opener) document.getElementById(opener.dataset.openDialog)?.showModal();
    for (const menu of document.querySelectorAll("details[data-menu][open]")) {
      if (!menu.contains(event.target) || opener) menu.open = false;
    }
  });
  document.addEventListener("keydown", (event) => {
    if (event.key !== "Escape") return;
    for (const menu of document.querySelectorAll("details[data-menu][open]")) {
      menu.open = false;
      menu.querySelector("summary").focus();
    }
  });
  for (const button of document.querySelectorAll("[data-open-dialog]")) button.hidden = false;
  // On a phone the bar of sections slides: where one stands is in sight.
  const here = document.querySelector(".sections [aria-current]")?.parentElement;
  if (here) {
    const bar = here.parentElement;
    bar.scrollLeft = here.offsetLeft - (bar.clientWidth - here.offsetWidth) / 2;
  }
  document.addEventListener("htmx:afterSwap", () => {
    for (const button of document.querySelectorAll("[data-open-dialog]")) button.hidden = false;
  });
})();
