"""How much does the chosen recipe fall short of the best, after n cuppings?

Roasteries are drawn at random: coffees, how pairs blend, tasters, a brief. Each cups its coffees
straight and some trial blends once, twice, ... and chooses a recipe in three ways. What counts is
the truth, which only the simulation knows.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np

from coupage.mixture import Region, fit_scheffe, model_matrix
from coupage.panel import fit
from coupage.recipe import Brief, Want, choose, desirability

TITLE = "Regret: what the recipe chosen after n cuppings falls short of the best there is"

ROASTERIES = 500
CUPPINGS = (1, 2, 3)
COFFEES, TASTERS, TRIALS = 4, 4, 3
ATTRIBUTES = ("body", "sweetness", "acidity")
NAMES = tuple(f"coffee {i + 1}" for i in range(COFFEES))
GRID = Region(NAMES).grid(0.05)
GRID = GRID[((GRID == 0) | (GRID >= 0.05)).all(axis=1)]

Array = np.ndarray


def brief_of(rng: np.random.Generator, truth: dict[str, Array]) -> Brief:
    """Wants that some recipe can meet: around the true profile of a recipe drawn at random."""
    wanted = GRID[rng.integers(len(GRID))][None, :]
    at = {a: float((model_matrix(wanted, "quadratic") @ truth[a])[0]) for a in ATTRIBUTES}
    return Brief(
        "b",
        (
            Want("body", "at least", at["body"] - 0.4),
            Want("sweetness", "at least", at["sweetness"] - 0.4),
            Want("acidity", "between", at["acidity"] - 0.6, at["acidity"] + 0.6),
        ),
    )


def cup(
    rng: np.random.Generator, truth: dict[str, Array], cuppings: int
) -> tuple[dict, dict, Array]:
    """Ratings and samples of some cuppings, and the recipes that were cupped."""
    samples: dict[str, list] = {"sample": [], "component": [], "proportion": []}
    ratings: dict[str, list] = {
        k: [] for k in ("cupping", "taster", "sample", "attribute", "rating")
    }
    bias = {a: rng.normal(0, 0.6, TASTERS) for a in ATTRIBUTES}
    recipes = []
    for c in range(cuppings):
        trials = GRID[rng.choice(np.flatnonzero((GRID > 0).sum(axis=1) > 1), TRIALS)]
        day = {a: rng.normal(0, 0.3) for a in ATTRIBUTES}
        for n, x in enumerate(np.vstack([np.eye(COFFEES), trials])):
            # Straight coffees are the same sample every day; each trial blend is its own.
            sample = f"straight {n}" if n < COFFEES else f"trial {c}-{n}"
            if n >= COFFEES or c == 0:
                recipes.append(x)
                for i in np.flatnonzero(x):
                    for key, value in zip(samples, (sample, NAMES[i], x[i]), strict=True):
                        samples[key].append(value)
            for a in ATTRIBUTES:
                mean = float((model_matrix(x[None, :], "quadratic") @ truth[a])[0]) + day[a]
                for t in range(TASTERS):
                    y = np.clip(np.round(2 * (mean + bias[a][t] + rng.normal(0, 1.0))) / 2, 0, 10)
                    for key, value in zip(
                        ratings, (f"day {c}", f"t{t}", sample, a, float(y)), strict=True
                    ):
                        ratings[key].append(value)
    return ratings, samples, np.array(recipes)


def chosen_by_ratings(
    brief: Brief, ratings: dict, samples: dict, recipes: Array
) -> tuple[Array, Array]:
    """The cupped sample with the best mean ratings, and the optimum of fitted polynomials."""
    names = list(dict.fromkeys(samples["sample"]))
    sample, attribute = np.array(ratings["sample"]), np.array(ratings["attribute"])
    rating = np.array(ratings["rating"])
    means = {
        a: np.array([rating[(sample == n) & (attribute == a)].mean() for n in names])
        for a in ATTRIBUTES
    }
    best = recipes[int(np.argmax(desirability(brief, means)))]
    enough = np.linalg.matrix_rank(model_matrix(recipes, "quadratic")) == 10
    order = "quadratic" if enough else "linear"
    predicted = {a: fit_scheffe(recipes, means[a], order).predict(GRID) for a in ATTRIBUTES}
    return best, GRID[int(np.argmax(desirability(brief, predicted)))]


def roastery(seed: int) -> list[dict[str, tuple[float, float]]]:
    """Per number of cuppings and way of choosing: whether on brief, and desirability lost."""
    rng = np.random.default_rng(seed)
    p = COFFEES + len(list(combinations(range(COFFEES), 2)))
    truth = {
        a: np.r_[rng.normal(5.5, 1.4, COFFEES), rng.normal(0, 2.0, p - COFFEES)] for a in ATTRIBUTES
    }
    brief = brief_of(rng, truth)

    def worth(x: Array) -> tuple[Array, Array]:
        profile = {a: model_matrix(np.atleast_2d(x), "quadratic") @ truth[a] for a in ATTRIBUTES}
        holds = np.ones(len(profile["body"]), dtype=bool)
        for a, (low, high) in brief.events.items():
            holds &= (profile[a] >= low) & (profile[a] <= high)
        return holds, np.asarray(desirability(brief, profile))

    ideal = worth(GRID)[1].max()
    out = []
    for cuppings in CUPPINGS:
        ratings, samples, recipes = cup(rng, truth, cuppings)
        choice = choose(brief, fit(ratings, samples), top=1)[0]
        ours = np.array([choice.recipe.get(name, 0.0) for name in NAMES])
        sample, polynomial = chosen_by_ratings(brief, ratings, samples, recipes)
        ways = {"best chance": ours, "best sample": sample, "polynomial": polynomial}
        out.append(
            {way: (float(worth(x)[0][0]), float(ideal - worth(x)[1][0])) for way, x in ways.items()}
        )
    return out


def run() -> str:
    results = [roastery(seed) for seed in range(ROASTERIES)]
    lines = [
        "| cuppings | way of choosing | on brief | desirability lost | standard error |",
        "| --: | --- | --: | --: | --: |",
    ]
    for n, cuppings in enumerate(CUPPINGS):
        for way in results[0][0]:
            table = np.array([result[n][way] for result in results])
            error = table[:, 1].std(ddof=1) / np.sqrt(len(table))
            lines.append(
                f"| {cuppings} | {way} | {100 * table[:, 0].mean():.0f} % | "
                f"{table[:, 1].mean():.3f} | {error:.3f} |"
            )
    head = (
        f"{ROASTERIES} simulated roasteries: {COFFEES} coffees, {TASTERS} tasters, each cupping "
        f"holds every coffee straight and {TRIALS} trial blends drawn at random. Chosen: the "
        "recipe with the best chance on brief (`choose`); the cupped sample with the best mean "
        "ratings; the optimum of Scheffe polynomials fitted to mean ratings (linear until the "
        "blends tell all 10 terms apart, then quadratic). On brief: the true means meet "
        "every want. Desirability lost: the best recipe's true desirability minus the chosen one's."
    )
    return head + "\n\n" + "\n".join(lines)
