// Says the loss while both masses are being typed. The server works it out again when it saves.
for (const group of document.querySelectorAll("[data-loss]")) {
  const [green, roasted] = group.querySelectorAll("input");
  const says = group.querySelector("[data-loss-says]");
  const number = (text) => Number(text.trim().replace(/\s/g, "").replace(",", "."));
  const say = () => {
    const input = number(green.value);
    const output = number(roasted.value);
    if (!(input > 0 && output > 0)) says.textContent = "";
    else if (output > input) says.textContent = "More comes out than went in: check both masses.";
    else says.textContent = `Loss ${(100 * (1 - output / input)).toFixed(1)} %`;
  };
  group.addEventListener("input", say);
  say();
}
