"""The closed forms of an exchange against plain recomputation."""

from __future__ import annotations

import numpy as np
import pytest

from coupage.mixture.criteria import Determinant, Variance, WeightedVariance

RNG = np.random.default_rng(6)
ROWS, INTO = RNG.normal(size=(9, 4)), RNG.normal(size=(5, 4))
PRIOR = np.diag([0.1, 0.2, 0.3, 0.4])
WEIGHTS = np.cov(RNG.normal(size=(4, 30)))


def plain(kind, rows):
    precision = PRIOR + rows.T @ rows
    if kind == "D":
        return -np.log(np.linalg.det(precision)) / 4
    trace = np.trace(WEIGHTS @ np.linalg.inv(precision))
    return trace if kind == "I" else trace + np.trace(np.linalg.inv(rows.T @ rows))


@pytest.mark.parametrize("kind", ["D", "I", "sum"])
def test_every_exchange_is_worth_what_it_would_be_when_carried_out(kind):
    score = {
        "D": Determinant(PRIOR),
        "I": Variance(PRIOR, WEIGHTS),
        "sum": WeightedVariance([Variance(PRIOR, WEIGHTS), Variance(np.zeros((4, 4)))]),
    }[kind]
    assert score.start(ROWS) == pytest.approx(plain(kind, ROWS), rel=1e-10)
    expected = np.empty((9, 5))
    for i in range(9):
        for j in range(5):
            changed = ROWS.copy()
            changed[i] = INTO[j]
            expected[i, j] = plain(kind, changed)
    np.testing.assert_allclose(score.exchanged(ROWS, INTO), expected, rtol=1e-9)
    # Each row with recipes of its own to choose from.
    own = np.broadcast_to(INTO, (9, 5, 4))
    np.testing.assert_allclose(score.exchanged(ROWS, own), expected, rtol=1e-9)


@pytest.mark.parametrize("score", [Determinant(np.zeros((4, 4))), Variance(np.zeros((4, 4)))])
def test_a_design_that_tells_too_little_is_worth_nothing(score):
    assert score.start(ROWS[:3]) == np.inf
    assert np.isinf(score.exchanged(ROWS[:3], INTO)).all()
