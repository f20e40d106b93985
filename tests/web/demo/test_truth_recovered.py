"""The model of the table finds the demo's truth again.

An interval owes its 90 % over everything that the model believes possible, so the spreads are
drawn from the model's own priors as well, not only the effects. Intervals of one attribute share
the level of the table: over 16 simulated tables of nine attributes the share of the twelve
components inside spread 1.5 times as far as independent intervals would, so that 432 intervals
tell about as much as 432 / 1.5^2 = 192. The bound is the two-sided 99 % range of a binomial
share with that many trials: 0.9 +- 2.576 sqrt(0.9 x 0.1 / 192) = 0.844 to 0.956.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest

from coupage.panel import Beliefs, Priors, fit
from coupage.web.demo.generate import Generated, generate, panel_columns
from coupage.web.demo.scenario import SCENARIO
from coupage.web.demo.shapes import BriefPlan, RecipePlan
from coupage.web.demo.truth import Spreads

SEEDS = range(300, 312)
ATTRIBUTES = ["acidity", "body", "liking"]


def spreads_of(rng: np.random.Generator, priors: Priors) -> Spreads:
    def drawn(scale: float) -> float:
        return float(abs(rng.normal(0.0, scale)))

    return Spreads(
        lot=drawn(priors.coffee / 2),  # the rest of a lot's distance is its expected character
        approach=drawn(priors.approach),
        pairing=drawn(priors.pairing),
        batch=drawn(priors.batch),
        taster=drawn(priors.taster),
        cupping=drawn(priors.cupping),
        view=0.0,  # without repeated cups a view is part of the noise
        noise=drawn(priors.noise),
        noise_ratio=priors.noise_ratio,
        age=priors.age / 2,
    )


def fit_all(drawn: Generated) -> Beliefs:
    """Fit everything that the loaded demo would be fitted on."""
    ratings, samples = panel_columns(drawn)
    never_cupped = set(drawn.truth.components) - set(samples["component"])
    return fit(as_arrays(ratings), as_arrays(samples), extra_components=sorted(never_cupped))


def fit_warm(drawn: Generated, attributes: list[str]) -> Beliefs:
    """Fit the first cup of each sample in the warm pass: a third of the data, all terms but two."""
    ratings, samples = panel_columns(drawn)
    first = {(cup.cupping, cup.code) for cup in drawn.cups if cup.number == 1}
    cups = zip(ratings["pass_name"], ratings["cupping"], ratings["cup"], strict=True)
    keep = np.array([name == "warm" and (table, code) in first for name, table, code in cups])
    columns = {
        name: values[keep]
        for name, values in as_arrays(ratings).items()
        if name not in {"cup", "pass_name"}
    }
    never_cupped = set(drawn.truth.components) - set(samples["component"])
    return fit(
        columns,
        as_arrays(samples),
        attributes=attributes,
        extra_components=sorted(never_cupped),
    )


def as_arrays(columns: Mapping[str, Any]) -> dict[str, Any]:
    return {name: np.array(values) for name, values in columns.items()}


def inside(drawn: Generated, beliefs: Beliefs, pass_name: str = "") -> list[bool]:
    found = []
    for component in drawn.truth.components:
        true = drawn.truth.profile({component: 1.0})
        for attribute, belief in beliefs.profile({component: 1.0}).items():
            place = drawn.truth.attributes.index(attribute)
            shift = drawn.truth.passes[pass_name][place] if pass_name else 0.0
            found.append(bool(belief.low90 <= true[attribute] + shift <= belief.high90))
    return found


def test_90_per_cent_intervals_hold_the_truth_about_as_often_as_they_should() -> None:
    found: list[bool] = []
    for seed in SEEDS:
        spreads = spreads_of(np.random.default_rng(seed), Priors())
        drawn = generate(seed=seed, spreads=spreads)
        found += inside(drawn, fit_warm(drawn, ATTRIBUTES), "warm")
    assert len(found) == 432
    assert 0.844 <= np.mean(found) <= 0.956


@pytest.fixture(scope="module")
def demo() -> tuple[Generated, Beliefs]:
    drawn = generate()
    return drawn, fit_all(drawn)


def test_the_demo_that_is_loaded_is_no_exception(demo: tuple[Generated, Beliefs]) -> None:
    # A practised crew is steadier than the priors expect, so there may be too few misses, never
    # too many: 108 intervals worth 48; 0.9 - 2.326 sqrt(0.9 x 0.1 / 48) = 0.80.
    assert np.mean(inside(*demo)) >= 0.80


@pytest.mark.parametrize(
    ("pair", "verdict"),
    [
        (("14a", "21b"), "same"),
        (("70a", "67a"), "same"),
        (("14b", "14c"), "different"),
        (("46a", "35c"), "not enough cups"),
    ],
)
def test_the_first_look_shows_all_three_verdicts(
    demo: tuple[Generated, Beliefs], pair: tuple[str, str], verdict: str
) -> None:
    tolerance = {a.name: float(a.tolerance) for a in SCENARIO.attributes}
    assert demo[1].joint(*pair, tolerance).verdict == verdict


def chance(beliefs: Beliefs, brief: BriefPlan, recipe: RecipePlan) -> float:
    shares = {SCENARIO.components[key]: percent / 100 for key, percent in recipe.shares.items()}
    x = np.array([[shares.get(name, 0.0) for name in beliefs.components]])
    product = 1.0
    for want in brief.wants:
        if want.must:
            low = -np.inf if want.kind == "at most" else float(want.low)
            high = np.inf if want.kind == "at least" else float(want.high)
            product *= float(beliefs.chance_between(x, want.attribute, low, high)[0])
    return product


def test_the_trial_serves_the_milk_brief_better_than_what_is_in_service(
    demo: tuple[Generated, Beliefs],
) -> None:
    _, in_service, trial = SCENARIO.blends[0].recipes
    assert 0.60 <= chance(demo[1], SCENARIO.briefs[0], trial) <= 0.95
    assert chance(demo[1], SCENARIO.briefs[0], in_service) <= 0.40


def test_the_cost_cap_lets_the_trial_in_and_keeps_what_is_in_service_out() -> None:
    # Green price over what the roast leaves: SCAA (2009), landed cost by yield.
    price = {lot.key: float(lot.price_per_kg) for lot in SCENARIO.lots}
    roasted = {
        a.key: price[a.lot] / (1 - a.versions[-1].loss_pct / 100) for a in SCENARIO.approaches
    }
    _, in_service, trial = (
        sum(roasted[key] * percent / 100 for key, percent in recipe.shares.items())
        for recipe in SCENARIO.blends[0].recipes
    )
    assert trial < float(SCENARIO.briefs[0].cost_cap) < in_service
