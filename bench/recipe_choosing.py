"""How long does the exact choice take, and does a general solver find the same optimum?"""

from __future__ import annotations

import time
from itertools import combinations

import numpy as np

from coupage.panel import Beliefs, fit
from coupage.recipe import Brief, Want, chance_on_brief, search
from coupage.recipe.posterior import MixtureBeliefs

TITLE = "Choosing the recipe: exact over every recipe on the step"

ATTRIBUTES = ("body", "sweetness", "bitterness", "acidity", "aftertaste")
SOLVER_SECONDS = 120.0


def beliefs_of(coffees: int, blends: int, seed: int, tasters: int = 4) -> Beliefs:
    """Beliefs after every coffee was cupped straight and some trial blends, four tasters."""
    rng = np.random.default_rng(seed)
    names = [f"coffee {i + 1}" for i in range(coffees)]
    recipes = [{name: 1.0} for name in names]
    for _ in range(blends):
        inside = rng.choice(coffees, int(rng.integers(2, 5)), replace=False)
        parts = rng.multinomial(20 - len(inside), rng.dirichlet(np.full(len(inside), 3.0))) + 1
        recipes.append({names[i]: n / 20 for i, n in zip(inside, parts, strict=True)})
    samples: dict[str, list[object]] = {"sample": [], "component": [], "proportion": []}
    for n, recipe in enumerate(recipes):
        for name, share in recipe.items():
            for key, value in zip(samples, (f"s{n}", name, share), strict=True):
                samples[key].append(value)
    ratings: dict[str, list[object]] = {
        key: [] for key in ("cupping", "taster", "sample", "attribute", "rating")
    }
    for attribute in ATTRIBUTES:
        alone = dict(zip(names, rng.normal(5.5, 1.3, coffees), strict=True))
        together = {pair: rng.normal(0, 1.5) for pair in combinations(names, 2)}
        bias = rng.normal(0, 0.6, tasters)
        for n, recipe in enumerate(recipes):
            mean = sum(share * alone[name] for name, share in recipe.items())
            mean += sum(
                recipe[a] * recipe[b] * gain
                for (a, b), gain in together.items()
                if a in recipe and b in recipe
            )
            for t in range(tasters):
                rating = float(np.clip(np.round(2 * (mean + bias[t] + rng.normal())) / 2, 0, 10))
                for key, value in zip(
                    ratings, ("first", f"t{t}", f"s{n}", attribute, rating), strict=True
                ):
                    ratings[key].append(value)
    return fit(ratings, samples)


def brief_of(seed: int) -> Brief:
    c = 5.5 + np.random.default_rng(seed).normal(0, 0.7, 5)
    return Brief(
        "five wants",
        (
            Want("body", "at least", c[0]),
            Want("sweetness", "between", c[1] - 1, c[1] + 1),
            Want("bitterness", "at most", high=c[2] + 0.5),
            Want("acidity", "close to", c[3] - 1.2, c[3] + 1.2),
            Want("aftertaste", "at least", c[4] - 0.5),
        ),
    )


def speed() -> str:
    lines = [
        "| coffees | step | recipes | weighed exactly | seconds | core seconds | best chance |",
        "| --: | --: | --: | --: | --: | --: | --: |",
    ]
    for coffees, blends, step, seeds in (
        (12, 12, 0.05, (0, 1, 2)),
        (12, 12, 0.02, (0,)),
        (12, 12, 0.01, (0,)),
        (40, 20, 0.05, (0, 1, 2)),
    ):
        for seed in seeds:
            beliefs, brief = beliefs_of(coffees, blends, seed), brief_of(seed)
            search(brief, beliefs, step=0.25)
            wall, core = time.perf_counter(), time.process_time()
            found = search(brief, beliefs, step=step)
            wall, core = time.perf_counter() - wall, time.process_time() - core
            lines.append(
                f"| {coffees} | {100 * step:g} % | {found.recipes:,} | {found.weighed:,} | "
                f"{wall:.2f} | {core:.2f} | {found.choices[0].chance:.4f} |"
            )
    return "\n".join(lines)


def one_by_one() -> str:
    """What weighing every recipe costs: the closed form on a sample, scaled up."""
    beliefs, brief = beliefs_of(12, 12, 0), brief_of(0)
    rng = np.random.default_rng(0)
    x = np.zeros((4000, 12))
    for row in x:
        row[rng.choice(12, 4, replace=False)] = (rng.multinomial(16, [0.25] * 4) + 1) / 20
    start = time.perf_counter()
    chance_on_brief(brief, beliefs, x)
    each = (time.perf_counter() - start) / len(x)
    return (
        f"Weighing the 518,541 recipes of 12 coffees one by one would take {518_541 * each:.0f} s "
        f"({1e6 * each:.0f} microseconds each, `chance_on_brief`)."
    )


class Linear:
    """One Gaussian, no pairs: what a general solver can be asked for too."""

    def __init__(self, coffees: int, seed: int) -> None:
        rng = np.random.default_rng(seed)
        self.components = tuple(f"coffee {i + 1}" for i in range(coffees))
        self.attributes = ("body",)
        p = coffees * (coffees + 1) // 2
        root = rng.normal(0, 0.25, (coffees, coffees))
        self.means, self.covariances = np.zeros((1, p)), np.zeros((1, p, p))
        self.means[0, :coffees] = rng.normal(5.5, 1.2, coffees)
        self.covariances[0, :coffees, :coffees] = root @ root.T / 4 + 0.2 * np.eye(coffees)
        self.weights = np.ones(1)

    def mixture(self, _: str) -> Linear:
        return self

    def chance_between(self, x: np.ndarray, _: str, low: float, high: float) -> np.ndarray:
        from scipy.special import ndtr

        q = len(self.components)
        m = x @ self.means[0, :q]
        s = np.sqrt(np.einsum("ni,ij,nj->n", x, self.covariances[0, :q, :q], x))
        return ndtr((high - m) / s) - ndtr((low - m) / s)


def by_solver(
    beliefs: Linear, low: float, parts: int = 20, most: int = 4
) -> tuple[float, float, str]:
    """Maximise (mean - low) / sd over the same recipes as a mixed-integer nonlinear programme."""
    from pyscipopt import Model, quicksum

    q = len(beliefs.components)
    mu, sigma = beliefs.means[0, :q], beliefs.covariances[0, :q, :q]
    model = Model()
    model.hideOutput()
    model.setParam("limits/time", SOLVER_SECONDS)
    n = [model.addVar(vtype="I", lb=0, ub=parts) for _ in range(q)]
    inside = [model.addVar(vtype="B") for _ in range(q)]
    t = model.addVar(lb=-50, ub=50)
    s = model.addVar(lb=1e-3, ub=10)
    model.addCons(quicksum(n) == parts)
    model.addCons(quicksum(inside) <= most)
    for i in range(q):
        model.addCons(n[i] <= parts * inside[i])
        model.addCons(n[i] >= inside[i])
    pairs = [(i, j) for i in range(q) for j in range(q)]
    model.addCons(quicksum(sigma[i, j] / parts**2 * n[i] * n[j] for i, j in pairs) <= s * s)
    model.addCons(quicksum(mu[i] / parts * n[i] for i in range(q)) - low >= t * s)
    model.setObjective(t, "maximize")
    start = time.perf_counter()
    model.optimize()
    seconds = time.perf_counter() - start
    x = np.array([[round(model.getVal(v)) / parts for v in n]])
    return float(beliefs.chance_between(x, "body", low, np.inf)[0]), seconds, model.getStatus()


def against_solver() -> str:
    lines = [
        "| coffees | recipes | chance here | by SCIP | seconds here | SCIP | SCIP says |",
        "| --: | --: | --: | --: | --: | --: | --- |",
    ]
    for coffees, seed in ((8, 0), (12, 1), (20, 2), (40, 3)):
        beliefs = Linear(coffees, seed)
        low = float(np.sort(beliefs.means[0, :coffees])[-3])
        known: MixtureBeliefs = beliefs  # type: ignore[assignment]
        start = time.perf_counter()
        found = search(Brief("body", (Want("body", "at least", low),)), known)
        seconds = time.perf_counter() - start
        chance, solver, status = by_solver(beliefs, low)
        lines.append(
            f"| {coffees} | {found.recipes:,} | {found.choices[0].chance:.6f} | {chance:.6f} | "
            f"{seconds:.2f} | {solver:.2f} | {status} |"
        )
    return "\n".join(lines)


SPEED = """Beliefs fitted by `coupage.panel.fit` (every coffee cupped straight, trial blends of 2-4,
four tasters, standard deviations integrated out), five wants, up to 4 coffees in the cup, one
thread. `weighed exactly` had their exact chance worked out to the end; the rest fell to a bound."""

SOLVER = f"""The same optimum by a general mixed-integer nonlinear solver (PySCIPOpt, at most
{SOLVER_SECONDS:.0f} s) where the question can be put to one: a single Gaussian, linear blending,
one want, 5 % steps, up to 4 coffees."""


def run() -> str:
    return f"{SPEED}\n\n{speed()}\n\n{one_by_one()}\n\n{SOLVER}\n\n{against_solver()}"
