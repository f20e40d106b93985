"""Repeated tasters: the model against general reference libraries and against simulation."""

from __future__ import annotations

from math import exp, log

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import beta, betabinom, binom, binomtest

from coupage.difference import TESTS, TestName, judge, judge_repeated
from coupage.difference.repeated import beta_binomial_logpmf
from coupage.errors import InputError


@given(n=st.integers(1, 30), mean=st.floats(0.02, 0.98), spread=st.floats(0.001, 0.9), d=st.data())
@settings(max_examples=80, deadline=None)
def test_without_guessing_it_is_the_beta_binomial(
    n: int, mean: float, spread: float, d: st.DataObject
) -> None:
    """betabinom of scipy.stats."""
    x = d.draw(st.integers(0, n))
    size = 1 / spread - 1
    ours = beta_binomial_logpmf(x, n, guess=0.0, mean=mean, spread=spread)
    assert ours == pytest.approx(
        betabinom.logpmf(x, n, mean * size, (1 - mean) * size), rel=1e-7, abs=1e-7
    )


@pytest.mark.parametrize("x", [0, 3, 7, 8])
@pytest.mark.parametrize(("mean", "spread"), [(0.3, 0.2), (0.6, 0.05), (0.5, 0.4)])
def test_with_guessing_it_is_the_integral_over_tasters(x: int, mean: float, spread: float) -> None:
    """Quadrature of binomial times beta density (Brockhoff 2003, equation of the model)."""
    size = 1 / spread - 1
    skill = beta(mean * size, (1 - mean) * size)
    integral, _ = quad(lambda u: binom.pmf(x, 8, (1 + 2 * u) / 3) * skill.pdf(u), 0, 1)
    ours = beta_binomial_logpmf(x, 8, guess=1 / 3, mean=mean, spread=spread)
    assert ours == pytest.approx(log(integral), abs=1e-6)


@given(n=st.integers(1, 20), mean=st.floats(0, 1), spread=st.floats(0, 0.99))
@settings(max_examples=50, deadline=None)
def test_chances_sum_to_one(n: int, mean: float, spread: float) -> None:
    chances = [
        exp(beta_binomial_logpmf(x, n, guess=1 / 3, mean=mean, spread=spread)) for x in range(n + 1)
    ]
    assert sum(chances) == pytest.approx(1, abs=1e-9)


def test_no_spread_is_the_binomial() -> None:
    ours = beta_binomial_logpmf(5, 9, guess=0.5, mean=0.3, spread=0.0)
    assert ours == pytest.approx(binom.logpmf(5, 9, 0.65), abs=1e-12)


@given(test=st.sampled_from(TESTS), counts=st.lists(st.integers(0, 1), min_size=5, max_size=40))
@settings(max_examples=15, deadline=None)
def test_one_answer_each_is_the_plain_test(test: TestName, counts: list[int]) -> None:
    """Spread cannot be seen in single answers; everything must equal `judge`."""
    many = judge_repeated(test, counts, 1, pd=0.3)
    plain = judge(test, sum(counts), len(counts), pd=0.3)
    assert many.p_different == pytest.approx(plain.p_different, rel=1e-12)
    assert many.discriminators == pytest.approx(plain.discriminators, abs=1e-6)
    assert many.discriminators_low == pytest.approx(plain.discriminators_low, abs=1e-5)
    assert many.discriminators_high == pytest.approx(plain.discriminators_high, abs=1e-5)
    assert many.at_most >= plain.at_most - 1e-9
    assert many.p_spread > 0.49


def test_equal_tasters_show_no_spread() -> None:
    result = judge_repeated("triangle", [3, 4, 3, 4, 3, 4, 3, 4], 6, pd=0.3)
    assert result.spread == 0
    assert result.p_spread == 1
    assert result.discriminators == pytest.approx((28 / 48 - 1 / 3) * 1.5, abs=1e-6)


def test_some_tell_and_others_guess() -> None:
    """8 of 20 always right, the rest as guessers are: share near 40 %, wider than pooled."""
    counts = [8] * 8 + [2, 3, 3, 2, 4, 1, 3, 2, 3, 4, 2, 3]
    result = judge_repeated("triangle", counts, 8, pd=0.3)
    pooled = judge("triangle", sum(counts), 160, pd=0.3)
    assert result.discriminators == pytest.approx(0.4, abs=0.03)
    assert result.spread > 0.7
    assert result.p_spread < 1e-6
    width = result.discriminators_high - result.discriminators_low
    assert width > 1.5 * (pooled.discriminators_high - pooled.discriminators_low)
    assert result.verdict == "different"


def test_the_estimate_is_the_highest_point() -> None:
    """A grid over mean and spread, by betabinom of scipy.stats with the guesses added."""
    counts, n, guess = [1, 5, 2, 0, 4, 6, 3, 1, 2, 6], 6, 1 / 3
    result = judge_repeated("triangle", counts, n, pd=0.3)

    def height(mean: float, spread: float) -> float:
        size = 1 / spread - 1
        told = betabinom.pmf(np.arange(n + 1), n, mean * size, (1 - mean) * size)
        return sum(
            log(sum(told[j] * binom.pmf(x - j, n - j, guess) for j in range(x + 1))) for x in counts
        )

    best = height(result.discriminators, result.spread)
    for mean in np.linspace(0.02, 0.98, 8):
        for spread in np.linspace(0.02, 0.98, 8):
            assert height(float(mean), float(spread)) <= best + 1e-9
    drop = 3.841458820694124 / 2  # chi-square, 1 df, 95 % (NIST/SEMATECH e-Handbook 1.3.6.7.4)
    for edge in (result.discriminators_low, result.discriminators_high):
        if 0 < edge < 1:
            along = max(height(edge, float(s)) for s in np.linspace(0.01, 0.99, 99))
            assert along == pytest.approx(best - drop, abs=2e-3)


def test_pooled_limit_is_never_undercut() -> None:
    result = judge_repeated("triangle", [1, 2, 1, 0, 2, 1, 1, 2, 1, 1], 4, pd=0.3)
    pooled = binomtest(12, 40, alternative="less").proportion_ci(0.95).high
    assert result.at_most >= (pooled - 1 / 3) * 1.5 - 1e-9
    assert result.verdict == "similar"
    assert result.sentence == "Guests are unlikely to notice (at most 17 % could, 95 % sure)."


@pytest.mark.parametrize(
    ("correct", "n", "says"),
    [
        ([5], 4, "correct: 5"),
        ([], 4, "number of right answers of each taster"),
        ([1, 2], [4, 4, 4], "3 counts came for 2"),
        ([1.5], 4, "whole number"),
        ([1], 0, "n: 0"),
    ],
)
def test_impossible_counts_are_refused(correct: list, n: object, says: str) -> None:
    with pytest.raises(InputError, match=says):
        judge_repeated("triangle", correct, n, pd=0.3)  # type: ignore[arg-type]
