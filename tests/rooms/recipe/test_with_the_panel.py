"""The whole way: ratings, beliefs, the best recipe."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from coupage.mixture import Region
from coupage.panel import Beliefs, fit
from coupage.recipe import Brief, Want, chance_on_brief, choose, who_notices

COFFEES = ["hill", "lake", "dune", "reef", "moor"]


@pytest.fixture(scope="module")
def beliefs() -> Beliefs:
    """Five coffees and three trial blends, four tasters; one coffee was never cupped."""
    rng = np.random.default_rng(8)
    strength = {"body": [7.5, 4.0, 6.0, 5.0], "acidity": [3.0, 7.5, 5.0, 6.0]}
    blends = {f"only {name}": {name: 1.0} for name in COFFEES[:4]}
    blends |= {
        "trial 1": {"hill": 0.6, "lake": 0.4},
        "trial 2": {"hill": 0.5, "dune": 0.25, "reef": 0.25},
        "trial 3": {"lake": 0.35, "dune": 0.65},
    }
    samples: dict[str, list[object]] = {"sample": [], "component": [], "proportion": []}
    ratings: dict[str, list[object]] = {
        key: [] for key in ("cupping", "taster", "sample", "attribute", "rating")
    }
    for sample, recipe in blends.items():
        for name, share in recipe.items():
            for key, value in zip(samples, (sample, name, share), strict=True):
                samples[key].append(value)
        for taster, attribute in ((t, a) for t in "pqrs" for a in strength):
            mean = sum(s * strength[attribute][COFFEES.index(n)] for n, s in recipe.items())
            rating = float(np.clip(np.round(2 * (mean + rng.normal(0, 0.7))) / 2, 0, 10))
            for key, value in zip(
                ratings, ("first", taster, sample, attribute, rating), strict=True
            ):
                ratings[key].append(value)
    return fit(ratings, samples, extra_components=COFFEES)


def test_the_best_recipe_of_a_real_fit_is_the_best_of_all(beliefs: Beliefs) -> None:
    wanted = Brief(
        "milk",
        (Want("body", "at least", 6, must=True), Want("acidity", "between", 3, 5, must=True)),
    )
    found = choose(wanted, beliefs, step=0.1)
    points = Region(beliefs.components).grid(0.1)
    points = points[(points > 0).sum(axis=1) <= 4]
    chances = np.sort(chance_on_brief(wanted, beliefs, points))[::-1]
    assert [c.chance for c in found] == pytest.approx(chances[:10].tolist(), abs=1e-9)
    profile = beliefs.profile(found[0].recipe)
    assert found[0].profile == pytest.approx({a: profile[a].mean for a in ("body", "acidity")})


def test_straight_coffees_and_pairs_that_were_never_cupped_are_weighed_too(
    beliefs: Beliefs,
) -> None:
    wanted = Brief("any", (Want("body", "between", 5, 6),), max_components=2)
    everything = choose(wanted, beliefs, step=0.5, top=100)
    cups = [{a: 1.0} for a in COFFEES] + [{a: 0.5, b: 0.5} for a, b in combinations(COFFEES, 2)]
    assert len(everything) == len(cups)
    for choice in everything:
        x = [choice.recipe.get(name, 0.0) for name in beliefs.components]
        expected = beliefs.chance_between(np.array([x]), "body", 5, 6)[0]
        assert choice.chance == pytest.approx(expected, abs=1e-12)


def test_who_notices_takes_the_noise_of_the_table(beliefs: Beliefs) -> None:
    told = who_notices(beliefs, {"hill": 1.0}, {"lake": 1.0})
    spread = beliefs.spread()
    assert told.attributes["body"].noise == pytest.approx(spread["body"].cup)
    # True distance: 3.5 and 4.5 points at a noise of 0.7 and half-point rounding.
    assert told.d_prime > 4
    assert told.right > 0.85
    near = who_notices(beliefs, {"hill": 0.5, "lake": 0.5}, {"hill": 0.55, "lake": 0.45})
    assert near.right < 0.45
