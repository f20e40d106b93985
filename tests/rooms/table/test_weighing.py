"""Weighing. Largest remainder: Balinski & Young, Fair Representation (2nd ed. 2001), appendix A."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coupage.errors import InputError
from coupage.table import pull_grams, weigh


@st.composite
def blends(draw: st.DrawFn) -> list[float]:
    parts = draw(st.lists(st.integers(0, 60), min_size=1, max_size=8).filter(any))
    return [part / sum(parts) for part in parts]


@given(
    wanted=blends(),
    cup_mg=st.integers(1000, 60_000),
    step_mg=st.sampled_from([1, 10, 50, 100, 500]),
    cups=st.integers(1, 12),
)
@settings(max_examples=150, deadline=None)
def test_a_cup_is_whole_divisions_that_sum_to_it(
    wanted: list[float], cup_mg: int, step_mg: int, cups: int
) -> None:
    weighing = weigh(wanted, cup_mg / 1000, cups, step_mg / 1000)
    whole = round(weighing.cup_grams * 1000 / step_mg)
    assert weighing.units.sum() == whole
    assert abs(whole * step_mg - cup_mg) <= step_mg / 2
    assert abs(weighing.grams.sum() - weighing.cup_grams) < 1e-9
    np.testing.assert_allclose(weighing.grams * 1000, weighing.units * step_mg, atol=1e-9)
    assert abs(weighing.achieved.sum() - 1) < 1e-12
    # No component is a whole division away from its share (quota rule).
    assert (np.abs(weighing.units - np.array(wanted) * whole) < 1 + 1e-6).all()
    pulled = weighing.pull(purge_grams=0)
    np.testing.assert_allclose(pulled, cups * weighing.grams, atol=1e-9)


@pytest.mark.parametrize("wanted", [[0.47, 0.31, 0.22], [0.05, 0.9, 0.05], [1 / 3, 1 / 3, 1 / 3]])
def test_no_other_rounding_is_nearer(wanted: list[float]) -> None:
    weighing = weigh(wanted, 8.2, 1, 0.2)
    ours = np.abs(weighing.achieved - wanted)
    whole = int(weighing.units.sum())
    for a, b in product(range(whole + 1), repeat=2):
        if a + b <= whole:
            other = np.abs(np.array([a, b, whole - a - b]) / whole - wanted)
            assert ours.sum() <= other.sum() + 1e-12
            assert (ours**2).sum() <= (other**2).sum() + 1e-12


def test_grams_read_as_the_scale_shows_them() -> None:
    assert weigh([0.3, 0.7], 8.2, 5, 0.1).grams.tolist() == [2.5, 5.7]


def test_rounding_beyond_the_chosen_share_is_told() -> None:
    quiet = weigh([0.45, 0.35, 0.2], 8.25, 5, 0.01, names=["A", "B", "C"])
    assert quiet.warnings == ()
    coarse = weigh([0.45, 0.35, 0.2], 8, 5, 0.5, names=["A", "B", "C"], tolerance=0.01)
    assert coarse.achieved.tolist() == [0.4375, 0.375, 0.1875]
    assert [w.split(":")[0] for w in coarse.warnings] == ["A", "B", "C"]
    assert "35.0% becomes 37.5%" in coarse.warnings[1]
    assert weigh([0.45, 0.35, 0.2], 8, 5, 0.5, tolerance=0.025).warnings == ()
    assert len(weigh([0.45, 0.35, 0.2], 8, 5, 0.5, tolerance=0.02).warnings) == 1


def test_a_component_too_small_to_weigh_is_told_whatever_the_tolerance() -> None:
    weighing = weigh([0.97, 0.03], 8, 3, 0.5, names=["A", "B"], tolerance=0.5)
    assert weighing.units.tolist() == [16, 0]
    assert "B: 3.0% is less than the scale can weigh" in weighing.warnings[0]
    assert weigh([1.0, 0.0], 8, 3, 0.5).warnings == ()


def test_a_cup_between_divisions_is_told() -> None:
    weighing = weigh([0.5, 0.5], 8.25, 5, 0.1)
    assert weighing.cup_grams == pytest.approx(8.2)
    assert "8.25 g cannot be weighed in steps of 0.1 g; 8.2 g" in weighing.warnings[0]


def test_the_pull_adds_cups_and_purge_per_coffee() -> None:
    """By hand: 3 x 8.25 + 5 = 29.75; 60 % of it rounded per part 17.85, and 11.90."""
    straight = weigh([1.0], 8.25, 3, 0.01, names=["A"])
    blend = weigh([0.6, 0.4], 8.25, 3, 0.01, names=["A", "B"])
    assert straight.pull(purge_grams=5).tolist() == [29.75]
    assert blend.pull(purge_grams=5).tolist() == [17.85, 11.9]
    assert pull_grams([straight, blend], purge_grams=5) == {"A": 47.6, "B": 11.9}


@given(wanted=blends(), purge=st.floats(0, 40), cups=st.integers(1, 9))
@settings(max_examples=60, deadline=None)
def test_the_pull_is_never_short(wanted: list[float], purge: float, cups: int) -> None:
    weighing = weigh(wanted, 8.25, cups, 0.05)
    pulled = weighing.pull(purge_grams=purge)
    need = cups * weighing.grams + purge * weighing.achieved
    assert (pulled >= need - 1e-9).all()
    assert (pulled <= need + 0.05 + 1e-9).all()


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (([0.5, 0.49], 8.25, 5, 0.01), "sum to 0.99"),
        (([1.2, -0.2], 8.25, 5, 0.01), "fractions from 0 to 1"),
        (([], 8.25, 5, 0.01), "one finite fraction"),
        (([float("nan"), 1], 8.25, 5, 0.01), "one finite fraction"),
        (([1.0], -8.25, 5, 0.01), "positive masses"),
        (([1.0], 8.25, 0, 0.01), "at least 1 cup"),
        (([1.0], 8.25, 5, 0.0), "positive masses"),
        (([1.0], 0.4, 5, 1.0), "finer scale"),
    ],
)
def test_what_cannot_be_weighed_is_refused(arguments: tuple, says: str) -> None:
    with pytest.raises(InputError, match=says):
        weigh(*arguments)


def test_names_must_fit() -> None:
    with pytest.raises(InputError, match="names: 1 came for 2"):
        weigh([0.5, 0.5], 8, 1, 0.1, names=["A"])
    with pytest.raises(InputError, match="needs names"):
        pull_grams([weigh([1.0], 8, 1, 0.1)])
    with pytest.raises(InputError, match="purge_grams"):
        weigh([1.0], 8, 1, 0.1).pull(purge_grams=-1)
