"""Purchases against the published lot-sizing example, brute force, and the independent check."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import product
from pathlib import Path

import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given, settings

from coupage.errors import InputError
from coupage.plan import Offer, Purchase, check_supply, supply

WAGNER = json.loads(
    (Path(__file__).parents[2] / "references/lot_sizing_and_blending/problems.json").read_text()
)["wagner-whitin"]


@pytest.mark.parametrize("horizon", range(1, 13))
def test_the_published_example_at_every_horizon(horizon: int) -> None:
    """Wagner and Whitin (1958): cost of the first n months for every n; exact, whole numbers."""
    inputs = WAGNER["inputs"]
    demand, setup = inputs["demand"][:horizon], inputs["setup"][:horizon]
    offer = Offer("x", 0.0, bag_kg=None, order_cost=setup)
    plan = supply({"x": demand}, [offer], holding_per_kg=float(inputs["holding"]), gap=0)
    assert plan.cost == pytest.approx(WAGNER["expected"]["cost_by_horizon"][horizon - 1], abs=1e-4)
    assert check_supply(plan.purchases, {"x": demand}, [offer]) == ()
    if horizon == 12:
        firsts = [first for first, _ in WAGNER["expected"]["lots_first_last_period"]]
        assert [p.period for p in plan.purchases] == firsts


def by_trying_everything(
    demand: list[int], offers: list[Offer], stock: float, holding: float, most: int
) -> float:
    """Least cost over every number of bags of every offer in every period."""
    periods = len(demand)
    cells = [
        (o, t)
        for o in offers
        for t in range(o.first - 1, periods - o.lead_periods)
        if o.last is None or t < o.last
    ]
    best = np.inf
    for counts in product(range(most + 1), repeat=len(cells)):
        into, cost = [0.0] * periods, 0.0
        of: dict[str, int] = {}
        for (offer, t), n in zip(cells, counts, strict=True):
            if n and n < offer.least_bags:
                break
            of[offer.title] = of.get(offer.title, 0) + n
            into[t + offer.lead_periods] += n * offer.unit_kg
            cost += n * offer.unit_kg * offer.price_per_kg  # type: ignore[operator]
            cost += offer.order_cost * (n > 0)  # type: ignore[operator]
        else:
            if any(o.most_bags is not None and of.get(o.title, 0) > o.most_bags for o in offers):
                continue
            level = stock
            for t in range(periods):
                level += into[t] - demand[t]
                if level < -1e-9:
                    break
                cost += holding * level
            else:
                best = min(best, cost)
    return best


@settings(deadline=None, max_examples=12)
@given(
    st.lists(st.integers(0, 110), min_size=3, max_size=3),
    st.sampled_from([0.0, 25.0, 90.0]),
    st.sampled_from([0.0, 0.4, 2.0]),
    st.sampled_from([0.0, 30.0]),
    st.sampled_from([None, 2]),
    st.sampled_from([0, 2]),
)
def test_small_markets_equal_brute_force(
    demand: list[int], stock: float, holding: float, order: float, most: int | None, least: int
) -> None:
    offers = [
        Offer("x", 5.0, "near", bag_kg=60.0, order_cost=order, most_bags=most, least_bags=least),
        Offer("x", 4.5, "far", bag_kg=69.0, order_cost=order, lead_periods=1, last=2),
    ]
    want = by_trying_everything(demand, offers, stock, holding, most=6)
    plan = supply({"x": demand}, offers, stock_kg={"x": stock}, holding_per_kg=holding, gap=0)
    facts = ({"x": demand}, offers)
    if want == np.inf:
        assert plan.status == "impossible"
        assert check_supply(plan.purchases, *facts, stock_kg={"x": stock}) != ()
    else:
        assert plan.status == "optimal"
        assert plan.cost == pytest.approx(want, abs=1e-3)
        assert check_supply(plan.purchases, *facts, stock_kg={"x": stock}) == ()


def test_it_says_when_stock_runs_out_and_what_no_offer_covers() -> None:
    """90 kg last for three months of 30; the crop arrives in the fifth, so the fourth is bare."""
    offer = Offer("x", 5.0, "new crop", first=4, lead_periods=1)
    plan = supply({"x": [30.0] * 6}, [offer], stock_kg={"x": 90.0})
    assert plan.status == "impossible"
    assert plan.runs_out == {"x": 4}
    assert plan.short_kg["x"] == pytest.approx((0, 0, 0, 30, 0, 0))
    assert plan.sentence() == "No offer covers the need of x by 30 kg."
    assert sum(p.kg for p in plan.purchases) == 60
    covered = supply({"x": [30.0] * 6}, [offer], stock_kg={"x": 120.0})
    assert (covered.status, covered.runs_out) == ("optimal", {"x": 5})


def test_what_is_bought_already_is_not_bought_again() -> None:
    """60 kg come in the second month: of three months of 50 kg, 90 kg are left, two bags."""
    facts = ({"x": [50.0] * 3}, [Offer("x", 5.0)])
    arriving = {"x": [0.0, 60.0, 0.0]}
    plan = supply(*facts, arriving_kg=arriving)
    assert sum(p.kg for p in plan.purchases) == 120
    assert check_supply(plan.purchases, *facts, arriving_kg=arriving) == ()
    assert plan.runs_out == {"x": 1}


def test_dear_holding_buys_late_and_dear_orders_buy_together() -> None:
    demand = {"x": [60.0] * 4}
    late = supply(demand, [Offer("x", 5.0, order_cost=1.0)], holding_per_kg=1.0)
    together = supply(demand, [Offer("x", 5.0, order_cost=500.0)], holding_per_kg=0.01)
    assert [p.period for p in late.purchases] == [1, 2, 3, 4]
    assert [p.period for p in together.purchases] == [1]


def test_what_fades_is_not_bought_for_the_year() -> None:
    """Cheap only in the first month; within two months each bag must be used."""
    offer = Offer("x", [4.0, 9.0, 9.0, 9.0, 9.0, 9.0])
    free = supply({"x": [60.0] * 6}, [offer])
    kept = supply({"x": [60.0] * 6}, [offer], keeps_periods={"x": 2})
    assert free.purchases[0].bags == 6
    assert kept.purchases[0].bags <= 4
    assert check_supply(kept.purchases, {"x": [60.0] * 6}, [offer]) == ()


def test_safety_stock_stands_from_the_first_arrival_on() -> None:
    offer = Offer("x", 5.0, lead_periods=1)
    facts = ({"x": [30.0] * 4}, [offer])
    plan = supply(*facts, stock_kg={"x": 40.0}, safety_kg=25.0)
    assert min(plan.stock_kg["x"][1:]) >= 25
    assert check_supply(plan.purchases, *facts, stock_kg={"x": 40.0}, safety_kg=25.0) == ()
    assert check_supply([], *facts, stock_kg={"x": 200.0}, safety_kg=25.0) == ()


def test_coffees_together_cost_what_they_cost_alone() -> None:
    demand = {"x": [40.0, 0.0, 55.0], "y": [10.0, 70.0, 20.0]}
    offers = [Offer("x", 5.0, order_cost=20.0), Offer("y", 6.0, order_cost=20.0, bag_kg=69.0)]
    both = supply(demand, offers, holding_per_kg={"x": 0.2, "y": 0.3}, gap=0)
    alone = [
        supply({c: demand[c]}, [o for o in offers if o.coffee == c], holding_per_kg=h, gap=0).cost
        for c, h in (("x", 0.2), ("y", 0.3))
    ]
    assert both.cost == pytest.approx(sum(alone))


def test_the_check_sees_what_is_wrong() -> None:
    offer = Offer("x", 5.0, "o", lead_periods=1, first=1, last=2, least_bags=2, most_bags=3)
    good = Purchase("o", "x", 1, 2, 120.0, 2, 600.0)
    demand = {"x": [0.0, 100.0, 0.0]}
    assert check_supply([good], demand, [offer]) == ()
    for change, says in (
        ({"kg": 110.0}, "no whole bags"),
        ({"period": 3, "arrives": 4}, "cannot be ordered"),
        ({"arrives": 1}, "is not there"),
        ({"kg": 60.0, "bags": 1, "cost": 300.0}, "fewer than can be ordered"),
        ({"kg": 240.0, "bags": 4, "cost": 1200.0}, "3 are there"),
        ({"cost": 500.0}, "costs 600.00"),
        ({"offer": "p"}, "not on offer"),
    ):
        faults = check_supply([replace(good, **change)], demand, [offer])  # type: ignore[arg-type]
        assert any(says in fault for fault in faults), (change, faults)
    assert "lacks 100.000 kg" in check_supply([], demand, [offer])[0]


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (({"x": [1.0], "y": [1.0, 2.0]}, []), "same number of periods"),
        (({"x": [1.0, -2.0]}, []), "finite numbers from 0"),
        (({"x": [1.0]}, [Offer("z", 1.0)]), "of which nothing is needed"),
        (({"x": [1.0]}, [Offer("x", 1.0, bag_kg=0.0)]), "bags weigh more than 0"),
        (({"x": [1.0, 1.0]}, [Offer("x", [1.0, 2.0, 3.0])]), "3 periods came"),
    ],
)
def test_what_cannot_be_used_is_told(arguments: tuple, says: str) -> None:
    with pytest.raises(InputError, match=says):
        supply(*arguments)
