"""The model of the table finds the demo's truth again.

An interval owes its 90 % over everything that the model believes possible, so the spreads are
drawn from the model's own priors as well, not only the effects. Intervals of one attribute share
the level of the table: over 16 simulated tables of nine attributes the share of the twelve
components inside spread 1.5 times as far as independent intervals would, so that 432 intervals
tell about as much as 432 / 1.5^2 = 192. The bound is the two-sided 99 % range of a binomial
share with that many trials: 0.9 +- 2.576 sqrt(0.9 x 0.1 / 192) = 0.844 to 0.956.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from coupage.panel import Beliefs, Priors, fit
from coupage.web.demo.generate import Generated, generate, panel_columns
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


def fit_warm(drawn: Generated, attributes: list[str] | None = None) -> Beliefs:
    """Fit the first cup of each sample in the warm pass: a third of the data, all terms but two."""
    ratings, samples = panel_columns(drawn)
    first = {(cup.cupping, cup.code) for cup in drawn.cups if cup.number == 1}
    keep = [
        name == "warm" and (cupping, code) in first
        for name, cupping, code in zip(
            ratings["pass_name"], ratings["cupping"], ratings["cup"], strict=True
        )
    ]
    columns: dict[str, Any] = {
        name: np.array(values)[keep]
        for name, values in ratings.items()
        if name not in {"cup", "pass_name"}
    }
    described: dict[str, Any] = {name: np.array(values) for name, values in samples.items()}
    never_cupped = set(drawn.truth.components) - set(samples["component"])
    return fit(columns, described, attributes=attributes, extra_components=sorted(never_cupped))


def inside(drawn: Generated, beliefs: Beliefs) -> list[bool]:
    found = []
    for component in drawn.truth.components:
        true = drawn.truth.profile({component: 1.0})
        for attribute, belief in beliefs.profile({component: 1.0}).items():
            warm = drawn.truth.passes["warm"][drawn.truth.attributes.index(attribute)]
            found.append(bool(belief.low90 <= true[attribute] + warm <= belief.high90))
    return found


def test_90_per_cent_intervals_hold_the_truth_about_as_often_as_they_should() -> None:
    found: list[bool] = []
    for seed in SEEDS:
        spreads = spreads_of(np.random.default_rng(seed), Priors())
        drawn = generate(seed=seed, spreads=spreads)
        found += inside(drawn, fit_warm(drawn, ATTRIBUTES))
    assert len(found) == 432
    assert 0.844 <= np.mean(found) <= 0.956


@pytest.fixture(scope="module")
def demo() -> tuple[Generated, Beliefs]:
    drawn = generate()
    return drawn, fit_warm(drawn)


def test_the_demo_that_is_loaded_is_no_exception(demo: tuple[Generated, Beliefs]) -> None:
    # A practised crew is steadier than the priors expect, so there may be too few misses, never
    # too many: 108 intervals worth 48; 0.9 - 2.326 sqrt(0.9 x 0.1 / 48) = 0.80.
    assert np.mean(inside(*demo)) >= 0.80


def test_the_first_look_shows_the_three_verdicts(demo: tuple[Generated, Beliefs]) -> None:
    _, beliefs = demo
    tolerance = dict.fromkeys(beliefs.attributes, 1.0)
    verdicts = {
        pair: beliefs.joint(*pair, tolerance).verdict for pair in [("14b", "14c"), ("46a", "35c")]
    }
    assert verdicts == {("14b", "14c"): "different", ("46a", "35c"): "not enough cups"}
