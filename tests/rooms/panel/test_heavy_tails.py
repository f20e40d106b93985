"""The heavy-tailed option: a slip pulls less, clean tables hardly change, weights are Student's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import t as student
from tests.rooms.panel.tables import small_table

from coupage.errors import InputError
from coupage.panel import Priors, fit
from coupage.panel.columns import read_ratings, read_samples
from coupage.panel.design import build_layout, build_terms
from coupage.panel.heavy_tails import weighted_table
from coupage.panel.importance import find_modes
from coupage.panel.marginal import scales


def test_a_slip_pulls_less_under_heavy_tails():
    ratings, samples, _ = small_table(12, attributes=1, tasters=6, noise=0.5)
    options = {"priors": Priors(noise_ratio=0.0)}
    rows = list(zip(ratings["taster"], ratings["sample"], strict=True))
    values = list(ratings["rating"])
    values[rows.index(("t2", "S2"))] = 0.0
    slipped = {**ratings, "rating": values}

    def level(table, **more):
        return fit(table, samples, **options, **more).profile({"shore": 1.0})["a0"].mean

    plain = abs(level(slipped) - level(ratings))
    heavy = abs(level(slipped, tails=4.0) - level(ratings, tails=4.0))
    assert heavy < 0.5 * plain
    assert level(ratings, tails=30.0) == pytest.approx(level(ratings), abs=0.05)


def test_with_one_coffee_and_flat_context_the_weights_solve_students_likelihood():
    """Location by scipy's own maximum likelihood of a t at the scale found, within 0.02."""
    rng = np.random.default_rng(4)
    y = np.clip(6 + 0.4 * rng.standard_t(3, 60), 0, 10)
    y[0] = 1.0
    samples = {"sample": ["A"], "component": ["x"], "proportion": [1.0]}
    ratings = {
        "cupping": [1] * 60,
        "taster": [1] * 60,
        "sample": ["A"] * 60,
        "attribute": ["body"] * 60,
        "rating": y,
        "cup": range(60),
    }
    priors = Priors(noise_ratio=0.0, rating_step=0.0, disagreement=1e-6)
    described = read_samples(samples, reference_age=7.0)
    given = read_ratings(ratings, described.names, attributes=None, scale=(0, 10))
    layout = build_layout(described, np.array([0]), 0)
    terms = build_terms(given, described, layout, priors, np.arange(60))
    table, weight = weighted_table(terms, y, np.zeros(60, dtype=int), 1, priors, 3.0)
    sigma = float(scales(table, find_modes(table)[0]).noise[0])
    best = minimize(lambda m: -student(3, m[0], sigma).logpdf(y).sum(), [6.0]).x[0]
    assert weight @ y / weight.sum() == pytest.approx(best, abs=0.02)
    assert weight[0] < 0.1 * np.median(weight)


def test_heavy_tails_that_cannot_be_are_refused():
    ratings, samples, _ = small_table(1, attributes=1)
    with pytest.raises(InputError, match="3 or more"):
        fit(ratings, samples, tails=1.0)
    with pytest.raises(InputError, match="smaller table"):
        fit(ratings, samples, tails=4.0, method="mode")
