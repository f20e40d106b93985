"""A day is mended with the least change; days and changes worked by hand."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from coupage.errors import InputError
from coupage.plan import DoneBatch, Drum, check_plan, repair_day, roast_day

RECIPES = {"x": {"washed": 1.0}, "y": {"dark": 1.0}}
LOSSES = {"washed": 0.2, "dark": 0.2}
DRUM = Drum(4.0, 12.0, "drum", minutes=15.0, change_minutes=5.0)
DEMAND = {"x": 19.2, "y": 8.0}  # two full batches of washed, one of 10 kg dark
PLAN = roast_day(DEMAND, RECIPES, LOSSES, DRUM, hours=3.0).batches


def mend(done: list[DoneBatch], **more: object):  # type: ignore[no-untyped-def]
    given_ = {"now_minutes": 15.0 * len(done), "hours": 3.0} | more
    return repair_day(PLAN, done, DEMAND, RECIPES, LOSSES, DRUM, **given_)  # type: ignore[arg-type]


DARK = DoneBatch("dark", "drum", 10.0, 8.0)


def test_nothing_new_changes_nothing() -> None:
    assert sorted((b.coffee, round(b.charge_kg, 3)) for b in PLAN) == [
        ("dark", 10.0),
        ("washed", 12.0),
        ("washed", 12.0),
    ]
    got = mend([DARK])
    assert got.sentence() == "The plan stands."
    assert [b.coffee for b in got.day.batches] == ["washed", "washed"]
    assert got.day.batches[0].start_minute == pytest.approx(20.0)


def test_a_high_loss_asks_for_one_more_batch() -> None:
    """19.2 kg wanted, 9.0 came of the first: 10.2 kg is 12.75 green, more than one charge holds."""
    got = mend([DARK, DoneBatch("washed", "drum", 12.0, 9.0)], now_minutes=35.0)
    assert [b.charge_kg for b in got.day.batches] == pytest.approx([6.375, 6.375], abs=1e-3)
    assert got.sentence() == (
        "One more batch of washed on drum, 6.4 kg; charge washed on drum with 6.4 kg instead."
    )
    assert got.day.batches[0].start_minute == pytest.approx(35.0)


def test_a_small_shortfall_of_the_last_batch_costs_a_least_charge() -> None:
    got = mend([DoneBatch("dark", "drum", 9.0, 7.2)])
    assert sum(b.charge_kg for b in got.day.batches if b.coffee == "dark") == pytest.approx(4.0)
    assert got.changes == ("one more batch of dark on drum, 4.0 kg",)


def test_a_smaller_surprise_is_met_by_larger_charges() -> None:
    plan = roast_day({"x": 16.0, "y": 8.0}, RECIPES, LOSSES, DRUM, hours=3.0).batches
    done = [DARK, DoneBatch("washed", "drum", 10.0, 7.6)]
    got = repair_day(plan, done, {"x": 16.0, "y": 8.0}, RECIPES, LOSSES, DRUM, now_minutes=35.0)
    assert got.changes == ("charge washed on drum with 10.5 kg instead",)


def test_a_batch_that_serves_nothing_is_dropped() -> None:
    got = mend([DoneBatch("washed", "drum", 12.0, 9.6)] * 2 + [DARK], now_minutes=60.0)
    assert got.day.batches == ()
    twice = [*[DoneBatch("washed", "drum", 12.0, 9.6)] * 2]
    kept = mend(twice, stock_roasted_kg={"dark": 8.0})
    assert kept.sentence() == "One fewer batch of dark on drum."


def test_no_time_left_is_told_with_a_way_out() -> None:
    got = mend([DARK, DoneBatch("washed", "drum", 12.0, 9.0)], now_minutes=160.0)
    assert got.day.status == "impossible"
    assert got.day.ways_out[0].overtime_minutes == pytest.approx({"drum": 10.0}, abs=1e-2)


def test_green_that_is_used_is_gone() -> None:
    done = [DARK, DoneBatch("washed", "drum", 12.0, 9.6)]
    got = mend(done, now_minutes=35.0, stock_green_kg={"dark": 10.0, "washed": 20.0})
    assert got.day.status == "impossible"
    assert got.day.ways_out[0].buy_green_kg == pytest.approx({"washed": 4.0}, abs=1e-2)


def test_a_planned_batch_is_not_saved_by_filling_another() -> None:
    """Two of 4 kg could be one of 8; the plan says two, so two it stays."""
    first = roast_day({"x": 3.2}, RECIPES, LOSSES, DRUM).batches[0]
    plan = [first, replace(first, start_minute=15.0, end_minute=30.0)]
    got = repair_day(plan, [], {"x": 6.4}, RECIPES, LOSSES, DRUM, now_minutes=0.0)
    assert got.sentence() == "The plan stands."
    assert len(got.day.batches) == 2


@settings(deadline=None, max_examples=25)
@given(st.floats(0.1, 0.35), st.integers(1, 3))
def test_fewest_batches_change_and_every_order_is_met(lost: float, first: int) -> None:
    order = sorted(PLAN, key=lambda b: b.start_minute)[:first]
    done = [DoneBatch(b.coffee, b.drum, b.charge_kg, b.charge_kg * (1 - lost)) for b in order]
    got = mend(done, now_minutes=15.0 * first + 5.0 * (order[-1].coffee != order[0].coffee))
    made = {c: sum(b.roasted_kg for b in done if b.coffee == c) for c in LOSSES}
    rest = {"washed": 2, "dark": 1}
    for b in done:
        rest[b.coffee] -= 1
    need = {"washed": max(19.2 - made["washed"], 0), "dark": max(8.0 - made["dark"], 0)}
    # By hand: batches of each coffee, from none to five, that can give what is missing.
    best = min(
        abs(w - rest["washed"]) + abs(d - rest["dark"])
        for w, d in product(range(6), repeat=2)
        if w * 12 * 0.8 >= need["washed"] - 1e-9 and d * 12 * 0.8 >= need["dark"] - 1e-9
    )
    count = {c: sum(b.coffee == c for b in got.day.batches) for c in LOSSES}
    dropped = sum(rest[c] for c in LOSSES if need[c] == 0)
    assert sum(abs(count[c] - rest[c]) for c in LOSSES) <= best + dropped
    assert sum(abs(count[c] - rest[c]) for c in LOSSES) >= best
    faults = check_plan(
        got.day.batches, DEMAND, RECIPES, LOSSES, DRUM, hours=3.0, stock_roasted_kg=made
    )
    assert faults == ()
    assert min((b.start_minute for b in got.day.batches), default=1e9) >= 15.0 * first


def test_a_batch_that_gained_mass_or_ran_nowhere_is_refused() -> None:
    with pytest.raises(InputError, match="cannot gain mass"):
        mend([DoneBatch("dark", "drum", 10.0, 11.0)])
    with pytest.raises(InputError, match="name a drum"):
        mend([DoneBatch("dark", "other", 10.0, 8.0)])
