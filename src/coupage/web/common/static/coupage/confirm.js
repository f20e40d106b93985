// Ask before a form marked data-confirm, or an htmx request with hx-confirm, is sent.
(() => {
  const dialog = document.getElementById("confirm");
  if (!dialog) return;
  const part = (name) => document.getElementById(`confirm-${name}`);

  function ask({ question, detail, button, tone }) {
    part("question").textContent = question;
    part("detail").textContent = detail || "";
    part("detail").hidden = !detail;
    part("yes").textContent = button || "Yes";
    part("yes").className = `button ${tone === "stop" ? "stop" : ""}`;
    dialog.returnValue = "no";
    dialog.showModal();
    return new Promise((resolve) => {
      dialog.addEventListener("close", () => resolve(dialog.returnValue === "yes"), { once: true });
    });
  }

  document.addEventListener("submit", async (event) => {
    const form = event.target;
    const { confirm, confirmDetail, confirmButton, confirmTone, confirmed } = form.dataset;
    if (!confirm || confirmed) return;
    event.preventDefault();
    event.stopPropagation();
    const sender = event.submitter;
    if (await ask({ question: confirm, detail: confirmDetail, button: confirmButton, tone: confirmTone })) {
      form.dataset.confirmed = "yes";
      form.requestSubmit(sender || undefined);
      delete form.dataset.confirmed;
    }
  }, true);

  document.addEventListener("htmx:confirm", async (event) => {
    if (!event.detail.question) return;
    event.preventDefault();
    const { confirmDetail, confirmButton, confirmTone } = event.target.dataset;
    if (await ask({ question: event.detail.question, detail: confirmDetail, button: confirmButton, tone: confirmTone })) {
      event.detail.issueRequest(true);
    }
  });
})();
