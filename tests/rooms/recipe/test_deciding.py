"""What a decision hinges on, as the planning of trials takes it."""

from __future__ import annotations

import numpy as np
import pytest

from coupage.errors import InputError
from coupage.mixture import Group, Region
from coupage.panel import Priors, Spread
from coupage.recipe import (
    Brief,
    Want,
    contenders,
    decision_doubt,
    sample_noise,
    table_spreads,
)

BRIEF = Brief("house", [Want("body", "at least", 5.0, None)], max_components=2, min_share=0.2)


def test_contenders_obey_the_region_and_the_brief() -> None:
    region = Region("ABC", upper=[0.6, 1, 1], groups=[Group({"A": 1, "B": 1}, 0.3, np.inf)])
    found = contenders(region, BRIEF, 0.1)
    every = [
        (a / 10, b / 10, (10 - a - b) / 10)
        for a in range(7)
        for b in range(11 - a)
        if a + b >= 3
        and sum(x > 0 for x in (a, b, 10 - a - b)) <= 2
        and all(x == 0 or x >= 2 for x in (a, b, 10 - a - b))
    ]
    assert {tuple(row) for row in found.round(9).tolist()} == set(every)
    assert len(found) == len(every)


def test_a_step_on_which_nothing_lies_is_refused() -> None:
    with pytest.raises(InputError, match=r"step|grid"):
        contenders(Region("AB", lower=[0.41, 0.5], upper=[0.49, 1]), BRIEF, 0.5)


def test_noise_of_a_sample_is_that_of_its_batch_and_of_the_mean_of_its_cups() -> None:
    spread = Spread(
        coffee=1,
        approach=None,
        pairing=1,
        batch=0.3,
        taster=1,
        cupping=1,
        disagreement=0.5,
        cup=0.8,
        low90={},
        high90={},
    )
    spreads = table_spreads(spread, cups=2)
    # A taster's own view is the same in both cups: it is averaged over tasters only.
    wanted = 0.3**2 + 0.5**2 / 4 + (0.8**2 + Priors().floor) / (4 * 2)
    assert sample_noise(spreads, tasters=4, cups=2) ** 2 == pytest.approx(wanted)


def test_a_coffee_that_is_known_leaves_no_doubt() -> None:
    region = Region("AB")
    means = {"body": np.array([6.0, 4.0, 0.0])}
    sure = {"body": 1e-6 * np.eye(3)}
    vague = {"body": np.eye(3)}

    def doubt(covariances: dict[str, np.ndarray]) -> float:
        told = decision_doubt(
            BRIEF,
            region,
            step=0.1,
            means=means,
            covariances=covariances,
            noise_sd={"body": 0.5},
        )
        return told.left(np.empty((0, 2)))

    assert doubt(sure) < 1e-3 < doubt(vague)
