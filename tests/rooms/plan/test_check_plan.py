"""The check finds every fault that is put into a good plan."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coupage.plan import Drum, Order, check_plan, roast_day

DRUM = Drum(4.0, 12.0, "drum", minutes=15.0, change_minutes=10.0)
ORDERS = [Order("x", 16.0, due_hours=1.0), Order("y", 8.0)]
RECIPES = {"x": {"a": 1.0}, "y": {"b": 1.0}}
LOSSES = {"a": 0.2, "b": 0.2}
REST = {"hours": 2.0, "stock_green_kg": {"a": 20.0, "b": 10.0}, "ranks": {"b": 1}}
GOOD = roast_day(ORDERS, RECIPES, LOSSES, DRUM, **REST).batches  # type: ignore[arg-type]


def faults(batches: list, **changed: object) -> tuple[str, ...]:
    return check_plan(batches, ORDERS, RECIPES, LOSSES, DRUM, **(REST | changed))  # type: ignore[arg-type]


def test_the_plan_is_good() -> None:
    assert [b.coffee for b in GOOD] == ["a", "a", "b"]
    assert faults(list(GOOD)) == ()


@pytest.mark.parametrize(
    ("at", "change", "says"),
    [
        (0, {"charge_kg": 3.0}, "no charge for drum"),
        (0, {"charge_kg": 13.0}, "no charge for drum"),
        (0, {"charge_kg": 9.0}, "15.200 kg by day 1, 16.000 kg are due"),
        (0, {"charge_kg": 11.0}, "a needs 21.000 kg green, 20.000 kg are there"),
        (0, {"drum": "other"}, "not there"),
        (0, {"end_minute": 14.0}, "too little time"),
        (1, {"start_minute": 10.0, "end_minute": 25.0}, "starts too early"),
        (1, {"start_minute": 50.0, "end_minute": 65.0}, "8.000 kg by day 1, 16.000 kg are due"),
        (2, {"start_minute": 30.0, "end_minute": 45.0}, "starts too early"),
        (2, {"start_minute": 106.0, "end_minute": 121.0}, "ends after the day"),
        (2, {"coffee": "a"}, "b gives 0.000 kg"),
    ],
)
def test_a_spoilt_plan_is_found_out(at: int, change: dict, says: str) -> None:
    batches = list(GOOD)
    batches[at] = replace(batches[at], **change)
    assert any(says in fault for fault in faults(batches))


def test_a_missing_batch_and_a_wrong_order_are_found_out() -> None:
    assert any("b gives 0.000" in f for f in faults(list(GOOD[:2])))
    assert any("comes after" in f for f in faults(list(GOOD), ranks={"a": 2, "b": 1}))
