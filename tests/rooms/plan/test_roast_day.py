"""Roast days against brute force that names every batch, and against the independent check."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product
from math import ceil

import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given, settings

from coupage.errors import InputError
from coupage.plan import Drum, Order, Pin, RoastDay, WayOutPrices, check_plan, roast_day

RECIPES = {"house": {"a": 0.5, "b": 0.5}, "dark": {"b": 1.0}}
LOSSES = {"a": 0.16, "b": 0.2}
KEPT = {"a": 0.84, "b": 0.8}


def by_naming_every_word(orders: list[Order], drum: Drum, end: float) -> tuple | None:
    """Best (surplus, batches, changes) on one drum over every sequence of coffees up to seven."""
    best = None
    for length in range(8):
        for word in product("ab", repeat=length):
            clock, changes, ends = 0.0, 0, []
            for i, coffee in enumerate(word):
                if i and word[i - 1] != coffee:
                    clock, changes = clock + drum.change_minutes, changes + 1
                clock += drum.minutes  # type: ignore[operator]
                ends.append(clock)
            if clock > end + 1e-9:
                continue
            surplus = 0.0
            for coffee, kept in KEPT.items():
                out = [t for t, c in zip(ends, word, strict=True) if c == coffee]
                total, wanted, enough = len(out) * drum.least_kg, 0.0, True
                for due in sorted({o.due_hours or 1e9 for o in orders}):
                    wanted = sum(
                        o.kg * RECIPES[o.blend].get(coffee, 0.0)
                        for o in orders
                        if (o.due_hours or 1e9) <= due
                    )
                    done = sum(t <= 60 * due + 1e-9 for t in out)
                    enough &= done * drum.largest_kg * kept >= wanted - 1e-9
                    total = max(total, wanted / kept + (len(out) - done) * drum.least_kg)
                if not enough:
                    break
                surplus += total * kept - wanted
            else:
                found = (round(surplus, 4), length, changes)
                best = found if best is None else min(best, found)
    return best


@settings(deadline=None, max_examples=25)
@given(
    st.lists(
        st.builds(
            Order,
            st.sampled_from(["house", "dark"]),
            st.integers(2, 18).map(float),
            due_hours=st.sampled_from([None, 0.5, 0.8, 1.2]),
        ),
        min_size=1,
        max_size=3,
    ),
    st.sampled_from([(6.0, 9.0), (3.0, 12.0), (8.0, 8.0)]),
    st.sampled_from([0.0, 5.0, 14.0]),
)
def test_one_drum_with_due_times_equals_brute_force(
    orders: list[Order], charges: tuple[float, float], change: float
) -> None:
    orders = [replace(o, name=f"{i}") for i, o in enumerate(orders)]
    drum = Drum(*charges, minutes=15.0, change_minutes=change)
    want = by_naming_every_word(orders, drum, end=105)
    day = roast_day(orders, RECIPES, LOSSES, drum, hours=1.75)
    if want is None:
        assert day.status == "impossible"
        assert day.unmet_kg
        assert check_plan(day.batches, orders, RECIPES, LOSSES, drum, hours=1.75)
    else:
        assert day.status == "optimal"
        assert day.total_surplus_kg == pytest.approx(want[0], abs=2e-3)
        assert (len(day.batches), day.changes) == want[1:]
        assert check_plan(day.batches, orders, RECIPES, LOSSES, drum, hours=1.75) == ()


def by_counting(need: dict[str, float], drums: list[Drum], end: float) -> tuple | None:
    """Best (surplus, batches, changes) over all counts per coffee and drum, no due times."""
    counts = np.indices((8,) * 4).reshape(2, 2, -1)  # coffee, drum, plan
    changes = np.maximum((counts > 0).sum(axis=0) - 1, 0)
    minutes = np.array([[d.minutes] for d in drums], dtype=float)
    busy = counts.sum(axis=0) * minutes + changes * [[d.change_minutes] for d in drums]
    low = np.tensordot([d.least_kg for d in drums], counts, axes=(0, 1))
    high = np.tensordot([d.largest_kg for d in drums], counts, axes=(0, 1))
    wanted = np.array([[need[c] / KEPT[c]] for c in "ab"])
    fits = (busy <= end + 1e-9).all(axis=0) & (high >= wanted - 1e-9).all(axis=0)
    surplus = np.array(list(KEPT.values())) @ np.maximum(low - wanted, 0)
    found = np.column_stack([surplus.round(4), counts.sum(axis=(0, 1)), changes.sum(axis=0)])[fits]
    return min(map(tuple, found), default=None)


@settings(deadline=None, max_examples=25)
@given(
    st.integers(0, 40), st.integers(0, 30), st.integers(0, 8), st.sampled_from([45.0, 70.0, 120.0])
)
def test_two_unlike_drums_equal_brute_force(house: int, dark: int, ready: int, end: float) -> None:
    drums = [Drum(5.0, 12.0, "large", 15.0, 6.0), Drum(3.0, 4.0, "small", 11.0, 4.0)]
    demand = {"house": float(house), "dark": float(dark)}
    stock = {"b": float(ready)}
    need = {"a": house / 2, "b": max(0.0, house / 2 + dark - ready)}
    want = by_counting(need, drums, end)
    day = roast_day(demand, RECIPES, LOSSES, drums, stock_roasted_kg=stock, hours=end / 60)
    rest = {"stock_roasted_kg": stock, "hours": end / 60}
    if want is None:
        assert day.status == "impossible"
    else:
        assert day.total_surplus_kg == pytest.approx(want[0], abs=2e-3)
        assert (len(day.batches), day.changes) == want[1:]
        assert check_plan(day.batches, demand, RECIPES, LOSSES, drums, **rest) == ()  # type: ignore[arg-type]


def test_the_simple_call_worked_by_hand() -> None:
    """21 kg at 16 % loss is 25 kg green: three of 8.33; 9 kg of b at 20 % is 11.25: one batch."""
    day = roast_day(
        {"x": 21.0, "y": 9.0}, {"x": {"a": 1.0}, "y": {"b": 1.0}}, LOSSES, Drum(4.0, 12.0)
    )
    charges = sorted(round(b.charge_kg, 2) for b in day.batches)
    assert charges == [8.33, 8.33, 8.33, 11.25]
    assert (day.status, day.gap, day.changes) == ("optimal", 0.0, 1)
    assert day.green_kg == pytest.approx({"a": 25.0, "b": 11.25})
    assert day.surplus_kg == pytest.approx({"a": 0.0, "b": 0.0}, abs=1e-3)


def test_least_charge_makes_surplus() -> None:
    day = roast_day({"dark": 2.0}, RECIPES, LOSSES, Drum(5.0, 12.0))
    assert day.surplus_kg["b"] == pytest.approx(2.0)
    assert day.sentence() == "1 batch, 0 changes of coffee, 2.0 kg beyond the orders."


def test_ready_blends_and_roasted_coffees_are_used_first() -> None:
    day = roast_day({"house": 20.0}, RECIPES, LOSSES, Drum(1.0, 12.0),
                    stock_roasted_kg={"house": 6.0, "a": 7.0})  # fmt: skip
    assert [(b.coffee, round(b.expected_kg, 3)) for b in day.batches] == [("b", 7.0)]
    nothing = roast_day(
        {"house": 5.0}, RECIPES, LOSSES, Drum(1.0, 12.0), stock_roasted_kg={"house": 6.0}
    )
    assert (nothing.batches, nothing.status) == ((), "optimal")


def test_a_carried_coffee_saves_the_change() -> None:
    """a until 0:30, b after: with 20 min a change only a-a-b-b fits, not a-b-a-b."""
    orders = [Order("x", 16.0, due_hours=0.5), Order("y", 18.0)]
    drum = Drum(4.0, 12.0, minutes=15.0, change_minutes=20.0)
    day = roast_day(orders, {"x": {"a": 1.0}, "y": {"b": 1.0}}, LOSSES, drum, hours=80 / 60)
    assert [b.coffee for b in day.batches] == ["a", "a", "b", "b"]
    assert day.batches[2].start_minute == pytest.approx(50)


def test_a_coffee_is_not_carried_through_another() -> None:
    """a by 15 min, b by 35, a again: two changes of 5 min, so 55 min and not 50."""
    orders = [
        Order("x", 8.0, "first", due_hours=15 / 60),
        Order("y", 8.0, "second", due_hours=35 / 60),
        Order("x", 8.0, "third"),
    ]
    recipes = {"x": {"a": 1.0}, "y": {"b": 1.0}}
    drum = Drum(4.0, 11.0, minutes=15.0, change_minutes=5.0)
    assert roast_day(orders, recipes, LOSSES, drum, hours=50 / 60).status == "impossible"
    day = roast_day(orders, recipes, LOSSES, drum, hours=55 / 60)
    assert ([b.coffee for b in day.batches], day.changes) == (["a", "b", "a"], 2)


def test_ranks_put_light_before_dark_across_due_times() -> None:
    recipes = {"x": {"a": 1.0}, "y": {"b": 1.0}}
    drum = Drum(4.0, 12.0, minutes=15.0)
    soon = [Order("y", 8.0, due_hours=0.25), Order("x", 8.0)]
    free = roast_day(soon, recipes, LOSSES, drum)
    assert [b.coffee for b in free.batches] == ["b", "a"]
    assert check_plan(free.batches, soon, recipes, LOSSES, drum, ranks={"b": 1})
    assert roast_day(soon, recipes, LOSSES, drum, ranks={"b": 1}).status == "impossible"
    later = [Order("y", 8.0, due_hours=0.5), Order("x", 8.0)]
    ranked = roast_day(later, recipes, LOSSES, drum, ranks={"b": 1})
    assert [b.coffee for b in ranked.batches] == ["a", "b"]
    assert check_plan(ranked.batches, later, recipes, LOSSES, drum, ranks={"b": 1}) == ()


def test_days_have_their_own_hours() -> None:
    orders = [Order("x", 16.0, "mon", day=1), Order("x", 16.0, "tue", day=2)]
    drum = Drum(4.0, 12.0, minutes=15.0)
    day = roast_day(orders, {"x": {"a": 1.0}}, LOSSES, drum, hours=0.5)
    assert [b.day for b in day.batches] == [1, 1, 2, 2]
    assert max(b.end_minute for b in day.batches) == pytest.approx(30)


def test_charges_on_the_scales_step_and_preferred_sizes() -> None:
    drum = Drum(4.0, 12.0, preferred_kg=(10.0,))
    day = roast_day({"dark": 27.0}, RECIPES, LOSSES, drum, charge_step_kg=0.1)
    charges = sorted(b.charge_kg for b in day.batches)
    # 33.75 kg green: 33.8 in steps; fewest batches 3, of which two can be of the usual size only
    # when the third takes 13.8, more than the drum holds: one is.
    assert sum(charges) == pytest.approx(33.8)
    assert charges.count(10.0) == 1
    assert all(abs(q / 0.1 - round(q / 0.1)) < 1e-6 for q in charges)


def test_a_coffee_keeps_to_its_drum() -> None:
    drums = [Drum(4.0, 12.0, "one", coffees=frozenset("a")), Drum(4.0, 12.0, "two")]
    day = roast_day({"dark": 20.0}, RECIPES, LOSSES, drums)
    assert {b.drum for b in day.batches} == {"two"}
    with pytest.raises(InputError, match="no drum may roast 'b'"):
        roast_day({"dark": 20.0}, RECIPES, LOSSES, drums[0])


def test_a_blend_roasted_together_takes_green_by_its_lots() -> None:
    mix = {"mix": {"a": 0.5, "b": 0.5}}
    day = roast_day({"z": 16.8}, {"z": {"mix": 1.0}}, LOSSES, Drum(4.0, 30.0), pre_roast=mix)
    assert day.green_kg == pytest.approx({"a": 8.4 / 0.84, "b": 8.4 / 0.8})
    assert len(day.batches) == 1


@dataclass(frozen=True)
class Doubtful:
    mean: float = 0.16
    sd: float = 0.01
    batch_sd: float = 0.01


def test_the_batches_suffice_as_often_as_asked() -> None:
    losses = {"a": Doubtful(), "b": Doubtful(0.2, 0.006, 0.012)}
    orders = [Order("house", 40.0, "early", due_hours=2.0), Order("dark", 20.0, "later")]
    drum = Drum(4.0, 12.0, minutes=10.0)
    day = roast_day(orders, RECIPES, losses, drum, safety=0.9)
    assert check_plan(day.batches, orders, RECIPES, losses, drum, safety=0.9) == ()
    assert day.total_surplus_kg > 0.3
    rng = np.random.default_rng(9)
    draws, enough = 20000, np.ones(20000, dtype=bool)
    for coffee, needs in (("a", [(120, 20.0)]), ("b", [(120, 20.0), (1e9, 40.0)])):
        level = rng.normal(losses[coffee].mean, losses[coffee].sd, draws)
        done = {due: np.zeros(draws) for due, _ in needs}
        for b in day.batches:
            if b.coffee == coffee:
                out = b.charge_kg * (1 - level - rng.normal(0, losses[coffee].batch_sd, draws))
                for due in done:
                    done[due] += out * (b.end_minute <= due)
        for due, kg in needs:
            enough &= done[due] >= kg
    assert 0.9 - 0.007 < enough.mean() < 0.96
    bare = roast_day(orders, RECIPES, {"a": 0.16, "b": 0.2}, drum)
    assert "chance" in check_plan(bare.batches, orders, RECIPES, losses, drum, safety=0.9)[0]


def test_an_impossible_day_says_which_order_and_the_cheapest_way_out() -> None:
    """Two batches fit in 30 min; 16.8 kg more green could not help, 15 min more would."""
    orders = [Order("x", 25.2, "café A")]
    drum = Drum(4.0, 12.0, "drum", minutes=15.0)
    day = roast_day(orders, {"x": {"a": 1.0}}, LOSSES, drum, hours=0.5, stock_green_kg={"a": 100.0})
    assert day.status == "impossible"
    assert day.unmet_kg == pytest.approx({"café A": 25.2 - 24 * 0.84}, abs=1e-3)
    assert len(day.batches) == 2
    best = day.ways_out[0]
    assert best.overtime_minutes == pytest.approx({"drum": 15.0}, abs=1e-3)
    assert best.price == pytest.approx(15.0, abs=1e-3)
    assert "café A lacks 5.0 kg" in day.sentence()
    assert "run drum 15 min longer" in day.sentence()
    dear = roast_day(orders, {"x": {"a": 1.0}}, LOSSES, drum, hours=0.5,
                     prices=WayOutPrices(overtime_hour=1000.0))  # fmt: skip
    assert dear.ways_out[0].short_kg == pytest.approx({"café A": 5.04}, abs=1e-3)


def test_missing_green_and_missed_due_times_are_priced() -> None:
    drum = Drum(4.0, 12.0, "drum", minutes=15.0)
    x = {"x": {"a": 1.0}}
    green = roast_day({"x": 16.8}, x, LOSSES, drum, stock_green_kg={"a": 17.0})
    assert green.ways_out[0].buy_green_kg == pytest.approx({"a": 3.0}, abs=1e-3)
    late = roast_day([Order("x", 16.8, due_hours=0.25)], x, LOSSES, drum, hours=2.0)
    assert late.ways_out[0].late_minutes == pytest.approx({"x": 15.0}, abs=1e-3)
    assert late.ways_out[0].sentence() == "deliver x 15 min late"


def test_out_of_time_says_so() -> None:
    coffees = [f"c{i}" for i in range(12)]
    orders = [
        Order(c, 3.0 + 2 * i % 9, f"{c}{k}", due_hours=[3.0, 6.0, None][k])
        for i, c in enumerate(coffees)
        for k in range(3)
    ]
    drums = [Drum(4, 12, "one", 14, 6), Drum(2, 6, "two", 12, 5)]
    recipes, losses = {c: {c: 1.0} for c in coffees}, dict.fromkeys(coffees, 0.16)
    day = roast_day(orders, recipes, losses, drums, hours=9, seconds=0.01)
    assert day.status == "stopped"
    assert day.gap > 0.01


def test_better_answers_are_heard_goal_by_goal() -> None:
    heard: list[str] = []
    roast_day({"dark": 27.0}, RECIPES, LOSSES, Drum(4.0, 12.0),
              progress=lambda goal, value, gap: heard.append(goal))  # fmt: skip
    assert heard == ["surplus", "batches", "changes"]


def test_the_best_so_far_after_each_goal_is_a_plan_of_its_own() -> None:
    found: list[RoastDay] = []
    day = roast_day({"house": 27.0}, RECIPES, LOSSES, Drum(4.0, 12.0), best=found.append)
    assert len(found) == 3
    for plan in found:
        assert check_plan(plan.batches, {"house": 27.0}, RECIPES, LOSSES, Drum(4.0, 12.0)) == ()
    assert found[-1].batches == day.batches


@settings(deadline=None, max_examples=15)
@given(
    st.integers(5, 60),
    st.lists(st.tuples(st.sampled_from("ab"), st.sampled_from([4.0, 7.5, 9.0, 12.0])), max_size=3),
    st.sampled_from([(), (9.0,)]),
)
def test_what_is_pinned_stands_in_the_plan(
    kg: int, pins: list[tuple[str, float]], preferred: tuple[float, ...]
) -> None:
    """Also where no order needs it; and the rest is never more than it would be without pins."""
    pinned = [Pin(coffee, "drum", charge) for coffee, charge in pins]
    drum = Drum(4.0, 12.0, preferred_kg=preferred)
    day = roast_day({"house": float(kg)}, RECIPES, LOSSES, drum, pinned=pinned)
    facts = ({"house": float(kg)}, RECIPES, LOSSES, drum)
    assert check_plan(day.batches, *facts, pinned=pinned) == ()
    free = roast_day({"house": float(kg)}, RECIPES, LOSSES, drum)
    assert len(day.batches) <= len(free.batches) + len(pinned)
    if pinned:
        assert check_plan([], *facts, pinned=pinned) != ()


@pytest.mark.parametrize(
    ("pin", "says"),
    [
        (Pin("a", "drum", 13.0), "no charge for 'drum'"),
        (Pin("a", "kettle", 9.0), "no charge for 'kettle'"),
        (Pin("a", "drum", 9.0, day=2), "when nothing is due"),
        (Pin("a", "drum", 9.03), "no multiple of 0.1 kg"),
    ],
)
def test_a_pin_that_cannot_be_is_told(pin: Pin, says: str) -> None:
    drum = Drum(4.0, 12.0)
    with pytest.raises(InputError, match=says):
        roast_day({"house": 9.0}, RECIPES, LOSSES, drum, pinned=[pin], charge_step_kg=0.1)


def test_two_coffees_of_one_lot_share_its_green() -> None:
    """20 kg of each at 16 and 20 % loss take 23.81 + 25 kg green: 48.81 kg of one lot."""
    of = {"a": "lot", "b": "lot"}
    demand, drum = {"house": 40.0}, Drum(4.0, 13.0)
    enough = roast_day(demand, RECIPES, LOSSES, drum, lot_of=of, stock_green_kg={"lot": 48.9})
    assert enough.status == "optimal"
    assert enough.green_kg == pytest.approx({"lot": 20 / 0.84 + 20 / 0.8}, abs=0.01)
    short = roast_day(demand, RECIPES, LOSSES, drum, lot_of=of, stock_green_kg={"lot": 48.7})
    assert short.status == "impossible"
    facts = (demand, RECIPES, LOSSES, drum)
    faults = check_plan(enough.batches, *facts, lot_of=of, stock_green_kg={"lot": 48.7})
    assert faults
    assert "48.810 kg green" in faults[0]


@settings(deadline=None, max_examples=12)
@given(st.integers(1, 60), st.floats(1.1, 3.0))
def test_doubling_every_kilogram_doubles_the_plan(kg: int, scale: float) -> None:
    small = roast_day({"dark": float(kg)}, RECIPES, LOSSES, Drum(5.0, 8.0))
    large = roast_day({"dark": kg * scale}, RECIPES, LOSSES, Drum(5.0 * scale, 8.0 * scale))
    assert len(small.batches) == len(large.batches) == max(ceil(kg / 0.8 / 8 - 1e-9), 1)
    assert large.total_surplus_kg == pytest.approx(scale * small.total_surplus_kg, abs=5e-3)


X = {"x": {"a": 1.0}}


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: Drum(0.0, 12.0), "least must be above 0"),
        (lambda: Drum(4.0, 12.0, minutes=0.0), "takes time above 0"),
        (lambda: Drum(4.0, 12.0, preferred_kg=(13.0,)), "preferred charge 13.0"),
        (lambda: roast_day({"x": -1.0}, X, LOSSES, Drum(1, 2)), "0 or more"),
        (lambda: roast_day({"y": 1.0}, X, LOSSES, Drum(1, 2)), "no recipe"),
        (lambda: roast_day({"x": 1.0}, {"x": {"a": 0.9}}, LOSSES, Drum(1, 2)), "sum to 1"),
        (lambda: roast_day({"x": 1.0}, X, {}, Drum(1, 2)), "'a' is missing"),
        (lambda: roast_day({"x": 1.0}, X, {"a": 16.0}, Drum(1, 2)), "such as 0.16"),
        (lambda: roast_day({"x": 1.0}, X, LOSSES, []), "at least one"),
        (lambda: roast_day([Order("x", 1), Order("x", 2)], X, LOSSES, Drum(1, 2)), "name each"),
        (lambda: roast_day([Order("x", 1, day=0)], X, LOSSES, Drum(1, 2)), "count from 1"),
        (lambda: roast_day({"x": 1.0}, X, LOSSES, Drum(1, 2), hours=0), "hours above 0"),
        (lambda: roast_day({"x": 1.0}, X, LOSSES, Drum(1, 2), safety=1.0), "safety"),
        (lambda: roast_day({"x": 1.0}, X, LOSSES, Drum(1, 2), gap=2), "gap"),
        (lambda: roast_day({"x": 1.0}, X, LOSSES, Drum(1, 2), goals=["fun"]), "'fun'"),
        (lambda: roast_day({"x": 1.0}, X, LOSSES, Drum(1.1, 1.2), charge_step_kg=1.0), "multiple"),
        (
            lambda: roast_day({"x": 1.0}, X, LOSSES, Drum(1, 2), stock_green_kg={"a": -1.0}),
            "stock_green_kg",
        ),
    ],
)  # fmt: skip
def test_bad_input_is_named(call: object, says: str) -> None:
    with pytest.raises(InputError, match=says):
        call()  # type: ignore[operator]
