// Answers by keyboard: 1 to 4 choose a cup, Enter keeps the answer from anywhere on the form.
(() => {
  const form = document.querySelector("[data-answer-form]");
  if (!form) return;
  const cups = [...form.querySelectorAll("input[name=picked]")];
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const typing = event.target.matches("input[type=text], textarea, select");
    const cup = typing ? undefined : cups[Number(event.key) - 1];
    if (cup) {
      event.preventDefault();
      cup.click();
      cup.focus();
    } else if (event.key === "Enter" && event.target.matches("input[name=picked]")) {
      event.preventDefault();
      form.requestSubmit();
    }
  });
  (cups.find((cup) => cup.checked) ?? cups[0])?.focus();
})();
