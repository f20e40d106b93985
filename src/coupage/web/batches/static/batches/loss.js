// Says the loss while masses are being typed: both, or what came out where the charge is known.
// The server works it out again when it saves.
for (const group of document.querySelectorAll("[data-loss]")) {
  const inputs = [...group.querySelectorAll("input")];
  const says = group.querySelector("[data-loss-says]");
  const number = (text) => Number(text.trim().replace(/\s/g, "").replace(",", "."));
  const known = group.dataset.green;
  const say = () => {
    const input = known ? Number(known) : number(inputs[0].value);
    const output = number(inputs[known ? 0 : 1].value);
    if (!(input > 0 && output > 0)) says.textContent = "";
    else if (output > input) says.textContent = "More comes out than went in: check both masses.";
    else says.textContent = `Loss ${(100 * (1 - output / input)).toFixed(1)} %`;
  };
  group.addEventListener("input", say);
  say();
}
