"""Thurstonian curves: tests/references/thurstone_curves and the decision rules themselves."""

from __future__ import annotations

import json
from math import inf
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coupage.difference import TESTS, TestName, d_prime, guess_chance, proportion_correct
from coupage.difference.thurstone import slope
from coupage.errors import InputError

CURVES = json.loads(
    (Path(__file__).parents[2] / "references/thurstone_curves/curves.json").read_text("utf-8")
)
NAMES: list[tuple[str, TestName]] = [
    ("triangle", "triangle"),
    ("duotrio", "duo-trio"),
    ("twoAFC", "2-AFC"),
    ("threeAFC", "3-AFC"),
    ("tetrad", "tetrad"),
]


@pytest.mark.parametrize(("name", "test"), NAMES)
def test_curves_of_the_reference(name: str, test: TestName) -> None:
    ours = [proportion_correct(test, d) for d in CURVES["curves"]["inputs"]["d"]]
    np.testing.assert_allclose(ours, CURVES["curves"]["expected"][name], atol=1e-7, rtol=0)


@pytest.mark.parametrize(("name", "test"), NAMES)
def test_inverse_of_the_reference(name: str, test: TestName) -> None:
    ours = [d_prime(test, p) for p in CURVES["inverse"]["inputs"]["pc"]]
    np.testing.assert_allclose(ours, CURVES["inverse"]["expected"][name], atol=5e-5, rtol=0)


def right(test: TestName, a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Whether a noisy taster answers right: a (m, 2) tastings of A, b (m, 2) of B, A stronger."""
    if test == "2-AFC":
        return a[:, 0] > b[:, 0]
    if test == "3-AFC":
        return a[:, 0] > b.max(axis=1)
    if test == "duo-trio":  # reference a0, like cup a1, other cup b0
        return np.abs(a[:, 0] - a[:, 1]) < np.abs(a[:, 0] - b[:, 0])
    if test == "triangle":  # a0, a1 alike, b0 odd: the alike pair must lie closest together
        alike = np.abs(a[:, 0] - a[:, 1])
        return (alike < np.abs(a[:, 0] - b[:, 0])) & (alike < np.abs(a[:, 1] - b[:, 0]))
    return (a.min(axis=1) > b.max(axis=1)) | (a.max(axis=1) < b.min(axis=1))


@pytest.mark.parametrize("test", TESTS)
@pytest.mark.parametrize("d", [0.0, 1.0, 2.5])
def test_curves_follow_the_decision_rules(test: TestName, d: float) -> None:
    """Simulated tasters; four standard errors of 200,000 answers is 0.0045."""
    rng = np.random.default_rng(TESTS.index(test))
    a, b = rng.normal(d, 1, (200_000, 2)), rng.normal(0, 1, (200_000, 2))
    assert right(test, a, b).mean() == pytest.approx(proportion_correct(test, d), abs=0.0045)


@given(test=st.sampled_from(TESTS), d=st.floats(0.05, 6))
@settings(max_examples=100, deadline=None)
def test_inverse_undoes_the_curve_and_slope_is_its_derivative(test: TestName, d: float) -> None:
    p = proportion_correct(test, d)
    assert d_prime(test, p) == pytest.approx(d, rel=1e-6, abs=1e-6)
    step = 1e-5
    rise = proportion_correct(test, d + step) - proportion_correct(test, d - step)
    assert slope(test, d) == pytest.approx(rise / (2 * step), rel=1e-5, abs=1e-9)


@given(test=st.sampled_from(TESTS), d=st.floats(0, 100), more=st.floats(0, 5))
@settings(max_examples=100, deadline=None)
def test_curves_rise_from_guessing_to_one(test: TestName, d: float, more: float) -> None:
    low, high = proportion_correct(test, d), proportion_correct(test, d + more)
    assert guess_chance(test) - 1e-12 <= low <= high + 1e-12 <= 1 + 2e-12


@pytest.mark.parametrize("test", TESTS)
def test_ends_of_the_curves(test: TestName) -> None:
    guess = guess_chance(test)
    assert proportion_correct(test, 0) == pytest.approx(guess, abs=1e-14)
    assert d_prime(test, 0) == d_prime(test, guess) == 0
    assert d_prime(test, 1) == inf
    assert proportion_correct(test, inf) == 1


def test_impossible_distances_are_refused() -> None:
    with pytest.raises(InputError, match="d_prime: -1"):
        proportion_correct("triangle", -1)
    with pytest.raises(InputError, match="proportion_correct: 1"):
        d_prime("triangle", 1.2)
    with pytest.raises(InputError, match="use one of"):
        d_prime("pentad", 0.5)  # type: ignore[arg-type]
    with pytest.raises(InputError, match="use one of"):
        proportion_correct("pentad", 0.5)  # type: ignore[arg-type]
