// Usual risks follow the question while they are still the usual ones: the risk that matters is the small one.
(() => {
  const form = document.querySelector("[data-plan-test]")?.closest("form");
  if (!form) return;
  const alpha = form.elements.alpha_ppm;
  const beta = form.elements.beta_ppm;
  const usual = { difference: ["5", "20"], likeness: ["20", "5"] };
  for (const choice of form.querySelectorAll("input[name=question]")) {
    choice.addEventListener("change", () => {
      const other = usual[choice.value === "likeness" ? "difference" : "likeness"];
      if (alpha.value === other[0] && beta.value === other[1]) [alpha.value, beta.value] = usual[choice.value];
    });
  }
})();
