"""Mass balance against hand-worked figures and its own conservation law."""

from __future__ import annotations

import json
from pathlib import Path

import hypothesis.extra.numpy as hnp
import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given, settings

from coupage.errors import InputError
from coupage.roast import green_needed, green_shares, loss, roasted_shares

REFERENCE = json.loads(
    (Path(__file__).parents[2] / "references/roast_mass_balance/balance.json").read_text()
)


@pytest.mark.parametrize(("fraction", "green"), REFERENCE["green_per_roasted_kg"].items())
def test_green_per_roasted_kg_by_hand(fraction: str, green: float) -> None:
    assert green_needed(1.0, float(fraction)) == pytest.approx(green, abs=5e-4)


def test_half_and_half_drifts_on_roasting() -> None:
    case = REFERENCE["half_and_half"]
    np.testing.assert_allclose(
        roasted_shares(case["green"], case["losses"]), case["roasted"], atol=5e-4
    )


def test_green_is_divided_by_the_yield_not_marked_up_by_the_loss() -> None:
    case = REFERENCE["scaa_2009"]
    per_lb = case["landed_per_lb"] * green_needed(1.0, case["loss"])
    assert per_lb == pytest.approx(case["per_roasted_lb"], abs=5e-3)


losses = hnp.arrays(float, 4, elements=st.floats(0.0, 0.6))
shares = hnp.arrays(float, 4, elements=st.floats(0.0, 1.0)).filter(lambda x: x.sum() > 0.1)


@settings(deadline=None, max_examples=60)
@given(shares, losses)
def test_green_and_roasted_shares_undo_each_other(x: np.ndarray, lost: np.ndarray) -> None:
    x = x / x.sum()
    np.testing.assert_allclose(roasted_shares(green_shares(x, lost), lost), x, atol=1e-12)


@settings(deadline=None, max_examples=60)
@given(shares, losses)
def test_roasting_the_green_mass_gives_the_wanted_kilograms(
    x: np.ndarray, lost: np.ndarray
) -> None:
    x = x / x.sum()
    green = green_needed(20.0 * x, lost)
    np.testing.assert_allclose(green / green.sum(), green_shares(x, lost), atol=1e-12)
    assert (green * (1 - lost)).sum() == pytest.approx(20.0)


def test_loss_of_a_batch_returns_its_green() -> None:
    assert green_needed(10.2, loss(12.0, 10.2)) == pytest.approx(12.0)


def test_many_blends_at_once() -> None:
    rows = np.array([[0.5, 0.5], [0.2, 0.8]])
    many = roasted_shares(rows, [0.14, 0.18])
    np.testing.assert_allclose(many[1], roasted_shares(rows[1], [0.14, 0.18]))
    np.testing.assert_allclose(many.sum(axis=1), 1.0)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: loss(10, 11), "cannot gain mass"),
        (lambda: loss(0, 0), "green_kg"),
        (lambda: loss(10, float("nan")), "roasted_kg"),
        (lambda: roasted_shares([0.5, 0.49], [0.1, 0.1]), "sum to 1"),
        (lambda: roasted_shares([1.5, -0.5], [0.1, 0.1]), "fractions"),
        (lambda: roasted_shares([], []), "one fraction per coffee"),
        (lambda: green_shares([0.5, 0.5], [16, 18]), "such as 0.16"),
        (lambda: green_shares([0.5, 0.5], [0.1, 0.1, 0.1]), "3 came for 2"),
        (lambda: green_needed(-1, 0.1), "roasted_kg"),
        (lambda: green_needed(1, 1.0), "losses"),
    ],
)
def test_bad_input_is_named(call: object, says: str) -> None:
    with pytest.raises(InputError, match=says):
        call()  # type: ignore[operator]
