"""Equivalence of two means: tests/references/equivalence_and_agreement."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import ttest_ind, ttest_rel
from statsmodels.stats.weightstats import ttost_ind, ttost_paired

from coupage.difference import equivalence
from coupage.errors import InputError

CASE = json.loads(
    (Path(__file__).parents[2] / "references/equivalence_and_agreement/examples.json").read_text(
        "utf-8"
    )
)["tost"]
A, B = CASE["inputs"]["A"], CASE["inputs"]["B"]
LOW, HIGH = CASE["inputs"]["bounds"]


def test_the_published_example_with_pooled_variance() -> None:
    expected = CASE["expected"]
    result = equivalence(A, B, low=LOW, high=HIGH, equal_variance=True)
    assert result.df == expected["df"]
    assert result.se == pytest.approx(expected["se"], abs=5e-7)
    assert result.difference == pytest.approx(expected["diff"], abs=5e-8)
    assert result.p_low == pytest.approx(expected["p_lower"], abs=5e-4)
    assert result.p_high == pytest.approx(expected["p_upper"], abs=5e-4)
    assert result.interval(0.95) == pytest.approx(expected["ci95"], abs=5e-6)
    assert result.equivalent
    assert result.p == result.p_low


def test_the_published_example_with_separate_variances() -> None:
    expected = CASE["expected"]["welch"]
    result = equivalence(A, B, low=LOW, high=HIGH)
    assert result.df == pytest.approx(expected["df"], abs=5e-4)
    assert result.se == pytest.approx(expected["se"], abs=5e-7)
    assert result.p_low == pytest.approx(expected["p_lower"], abs=5e-4)
    assert result.p_high == pytest.approx(expected["p_upper"], abs=5e-4)


rows = st.lists(st.floats(0, 10).map(lambda v: round(v, 2)), min_size=3, max_size=12)


@given(a=rows, b=rows, low=st.floats(-4, -0.1), high=st.floats(0.1, 4))
@settings(max_examples=60, deadline=None)
def test_against_reference_libraries(
    a: list[float], b: list[float], low: float, high: float
) -> None:
    """ttost_ind and ttost_paired of statsmodels, intervals of scipy.stats."""
    if np.std(a) < 0.05 or np.std(b) < 0.05:
        return
    for usevar, pooled in (("pooled", True), ("unequal", False)):
        ours = equivalence(a, b, low=low, high=high, equal_variance=pooled)
        p, lower, upper = ttost_ind(np.array(a), np.array(b), low, high, usevar=usevar)
        assert ours.p == pytest.approx(p, rel=1e-8, abs=1e-14)
        assert ours.p_low == pytest.approx(lower[1], rel=1e-8, abs=1e-14)
        assert ours.p_high == pytest.approx(upper[1], rel=1e-8, abs=1e-14)
        limits = ttest_ind(a, b, equal_var=pooled).confidence_interval(0.9)
        assert ours.interval_low == pytest.approx(limits.low, abs=1e-8)
        assert ours.interval_high == pytest.approx(limits.high, abs=1e-8)
    k = min(len(a), len(b))
    first, second = np.array(a[:k]), np.array(b[:k])
    if np.std(first - second) > 0.05:
        ours = equivalence(first, second, low=low, high=high, paired=True)
        assert ours.p == pytest.approx(
            ttost_paired(first, second, low, high)[0], rel=1e-8, abs=1e-14
        )
        limits = ttest_rel(first, second).confidence_interval(0.9)
        assert ours.interval_low == pytest.approx(limits.low, abs=1e-8)


@given(a=rows, b=rows, margin=st.floats(0.1, 5), alpha=st.floats(0.01, 0.3))
@settings(max_examples=60, deadline=None)
def test_equivalent_means_interval_within_limits(
    a: list[float], b: list[float], margin: float, alpha: float
) -> None:
    if np.std(a) + np.std(b) < 0.05:
        return
    result = equivalence(a, b, low=-margin, high=margin, alpha=alpha)
    inside = -margin <= result.interval_low and result.interval_high <= margin
    if min(abs(result.interval_low + margin), abs(result.interval_high - margin)) > 1e-9:
        assert result.equivalent == inside
    assert result.different == (result.interval_low > 0 or result.interval_high < 0)
    swapped = equivalence(b, a, low=-margin, high=margin, alpha=alpha)
    assert swapped.p == pytest.approx(result.p, rel=1e-9)


@pytest.mark.parametrize(
    ("arguments", "keywords", "says"),
    [
        (([1], [1, 2]), {}, "a: give at least 2"),
        (([1, 2], [1, float("nan")]), {}, "b: give at least 2 finite"),
        (([1, 2], [1, 2]), {"low": 1, "high": 1}, "low must be below high"),
        (([1, 2], [1, 2]), {"alpha": 0.5}, "alpha: 0.5"),
        (([1, 2], [1, 2, 3]), {"paired": True}, "3 numbers came for 2 pairs"),
        (([1, 1], [2, 2]), {}, "no scatter"),
        (([1, 1], [2, 2]), {"equal_variance": True}, "no scatter"),
    ],
)
def test_impossible_questions_are_refused(arguments: tuple, keywords: dict, says: str) -> None:
    with pytest.raises(InputError, match=says):
        equivalence(*arguments, **({"low": -1, "high": 1} | keywords))
