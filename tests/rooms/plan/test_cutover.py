"""Cutovers against brute force over every way on the step, and the independent check."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise, product

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from coupage.errors import InputError
from coupage.plan import check_cutover, cutover

OLD, NEW = {"ending": 0.4, "base": 0.6}, {"next": 0.4, "base": 0.6}
PROFILES = {
    "ending": {"body": 7.0, "fruit": 3.0},
    "next": {"body": 4.0, "fruit": 4.0},
    "base": {"body": 5.0, "fruit": 5.0},
}


def by_trying_every_way(
    demand: list[float], stock: float, tolerance: float
) -> tuple[float, int] | None:
    """Least (left over, changes) over all falling ways of the ending share in tenths."""
    best = None
    for way in product(range(5), repeat=len(demand) - 1):
        shares = [4, *way, 0]
        if any(a < b for a, b in pairwise(shares)):
            continue
        # A tenth moved from ending to next moves body by 0.3 and fruit by 0.1.
        if any(0.3 * (a - b) > tolerance + 1e-9 for a, b in pairwise(shares)):
            continue
        used = sum(kg * s / 10 for kg, s in zip(demand, shares[1:], strict=True))
        if used > stock + 1e-9:
            continue
        found = (round(stock - used, 6), sum(a != b for a, b in pairwise(shares)))
        best = found if best is None else min(best, found)
    return best


@settings(deadline=None, max_examples=20)
@given(
    st.lists(st.sampled_from([20.0, 35.0, 50.0]), min_size=2, max_size=5),
    st.integers(0, 70).map(float),
    st.sampled_from([0.3, 0.6, 0.95, 1.2]),
)
def test_small_cutovers_equal_brute_force(
    demand: list[float], stock: float, tolerance: float
) -> None:
    want = by_trying_every_way(demand, stock, tolerance)
    facts = {"demand_kg": demand, "stock_kg": {"ending": stock}}
    way = cutover(OLD, NEW, PROFILES, tolerance, step=0.1, gap=0, **facts)
    if want is None:
        assert way.status == "impossible"
        return
    assert way.status == "optimal"
    assert (way.leftover_kg["ending"], len(way.changes)) == pytest.approx(want, abs=1e-3)
    assert check_cutover(way, OLD, NEW, PROFILES, tolerance, **facts) == ()


def test_losses_turn_roasted_shares_into_green() -> None:
    """20 % of 50 kg at 20 % loss is 12.5 kg of green; 40 % is 25: 37.5 kg last two weeks."""
    facts = {
        "demand_kg": [50.0] * 3, "stock_kg": {"ending": 37.5}, "losses": {"ending": 0.2},
    }  # fmt: skip
    way = cutover(OLD, NEW, PROFILES, 0.65, step=0.1, **facts)
    assert [round(r["ending"], 6) for r in way.recipes] == [0.4, 0.2, 0.0]
    assert way.leftover_kg["ending"] == pytest.approx(0, abs=1e-6)
    assert way.changes == (2, 3)
    assert way.sentence() == "2 steps in periods 2, 3."
    assert check_cutover(way, OLD, NEW, PROFILES, 0.65, **facts) == ()


def test_a_jump_that_cannot_be_avoided_is_told_with_its_size() -> None:
    """Body must fall by 1.2 in two periods: 0.6 at a time at best, twice a tolerance of 0.3."""
    way = cutover(OLD, NEW, PROFILES, 0.3, demand_kg=[10.0, 10.0], step=0.1)
    assert way.status == "impossible"
    assert way.largest_step["body"] == pytest.approx(2.0, abs=0.01)
    assert way.sentence().startswith("There is no way without a jump: body has to move by 2.0")
    assert any("body moves by 0.6" in fault for fault in check_cutover(
        way, OLD, NEW, PROFILES, 0.3, demand_kg=[10.0, 10.0]))  # fmt: skip


def test_too_little_of_the_successor_is_told() -> None:
    way = cutover(OLD, NEW, PROFILES, 1.0, demand_kg=[50.0] * 3, stock_kg={"next": 5.0})
    assert way.short_of == ("next",)
    assert "not enough of next" in way.sentence()


def test_a_free_component_balances_the_taste() -> None:
    """The ending lot is gone at once: body falls by 1.2, or by 0.8 where the base takes its place.

    All base has body 5.0 against 5.8 before and 4.6 after, fruit 5.0 against 4.2 and 4.6.
    """
    facts = {"demand_kg": [30.0] * 2, "stock_kg": {"ending": 0.0}}
    held = cutover(OLD, NEW, PROFILES, 0.9, step=0.1, **facts)
    freed = cutover(OLD, NEW, PROFILES, 0.9, step=0.1, free=["base"], **facts)
    assert held.status == "impossible"
    assert freed.status == "optimal"
    assert freed.recipes[0]["base"] >= 0.9
    assert check_cutover(freed, OLD, NEW, PROFILES, 0.9, free=["base"], **facts) == ()


def test_the_same_recipe_needs_no_step() -> None:
    way = cutover(OLD, OLD, PROFILES, 0.1, demand_kg=[10.0] * 3)
    assert way.changes == ()
    assert way.sentence() == "No change."


def test_any_share_may_come_out_without_a_step() -> None:
    facts = {"demand_kg": [50.0, 40.0, 50.0, 30.0], "stock_kg": {"ending": 33.3}}
    way = cutover(OLD, NEW, PROFILES, 0.5, step=None, **facts)
    assert way.leftover_kg["ending"] == pytest.approx(0, abs=1e-3)
    assert check_cutover(way, OLD, NEW, PROFILES, 0.5, **facts) == ()


def test_the_check_sees_what_is_wrong() -> None:
    facts = {"demand_kg": [50.0] * 3, "stock_kg": {"ending": 40.0}}
    way = cutover(OLD, NEW, PROFILES, 0.65, step=0.1, **facts)
    assert check_cutover(way, OLD, NEW, PROFILES, 0.65, **facts) == ()
    first, second, last = way.recipes
    for recipes, says in (
        ((first, second), "2 recipes for 3 periods"),
        ((first, second, second), "is not the new one"),
        ((first, last, last), "body moves"),
        ((second, first, last), "goes back"),
        (({**first, "base": 0.5}, second, last), "sum to"),
    ):
        faults = check_cutover(replace(way, recipes=recipes), OLD, NEW, PROFILES, 0.35, **facts)
        assert any(says in fault for fault in faults), (says, faults)
    faults = check_cutover(way, OLD, NEW, PROFILES, 0.65, demand_kg=[500.0] * 3,
                           stock_kg={"ending": 40.0})  # fmt: skip
    assert any("are there" in fault for fault in faults)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"old": {"ending": 0.5}}, "must sum to 1"),
        ({"profiles": {"ending": {"body": 1.0}}}, "is missing"),
        ({"tolerance": 0.0}, "above 0"),
        ({"demand_kg": [-1.0]}, "kilograms from 0"),
        ({"step": 0.3}, "must divide 1"),
        ({"new": {"next": 0.405, "base": 0.595}}, "no multiple of the step"),
        ({"losses": {"base": 1.0}}, "from 0 up to 1"),
    ],
)
def test_what_cannot_be_used_is_told(change: dict, says: str) -> None:
    arguments = {
        "old": OLD, "new": NEW, "profiles": PROFILES, "tolerance": 0.5, "demand_kg": [10.0] * 3,
    } | change  # fmt: skip
    with pytest.raises(InputError, match=says):
        cutover(**arguments)
