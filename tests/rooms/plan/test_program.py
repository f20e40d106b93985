"""The program against lot-sizing and blending problems with a published optimum."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from coupage.plan.program import Program

PROBLEMS = json.loads(
    (Path(__file__).parents[2] / "references/lot_sizing_and_blending/problems.json").read_text()
)


def test_wagner_whitin_1958_dynamic_lot_sizes() -> None:
    case = PROBLEMS["wagner-whitin"]
    demand, setup = case["inputs"]["demand"], case["inputs"]["setup"]
    for months, cost in enumerate(case["expected"]["cost_by_horizon"], start=1):
        program = Program()
        made = program.add((months,))
        left = program.add((months,))
        opened = program.add((months,), 1, whole=True)
        for t in range(months):
            before = [(left[t - 1], 1.0)] if t else []
            program.row(
                (made[t], 1.0), (left[t], -1.0), *before, at_least=demand[t], at_most=demand[t]
            )
            program.row((made[t], 1.0), (opened[t], -sum(demand[t:months])), at_most=0)
        goal = program.vector((opened, setup[:months]), (left, case["inputs"]["holding"]))
        outcome = program.solve([goal], gap=1e-9, seconds=20)
        assert outcome.status == "optimal"
        assert outcome.values[0] == pytest.approx(cost, abs=1e-6)


def test_food_manufacture_williams() -> None:
    given = PROBLEMS["food-manufacture-1"]["inputs"]
    cost = np.array(given["cost_per_ton_by_month"], dtype=float)
    months, oils = cost.shape
    program = Program()
    buy, use = program.add((months, oils)), program.add((months, oils))
    kept = program.add((months, oils), given["storage_cap_each"])
    food = program.add((months,))
    vegetable = [name.startswith("VEG") for name in given["oils"]]
    hard = np.array(given["hardness"])
    start = given["initial_and_final_stock_each"]
    for t in range(months):
        for i in range(oils):
            now = (buy[t, i], 1.0), (use[t, i], -1.0), (kept[t, i], -1.0)
            if t:
                program.row(*now, (kept[t - 1, i], 1.0), at_least=0, at_most=0)
            else:
                program.row(*now, at_least=-start, at_most=-start)
        program.row((use[t, vegetable], 1.0), at_most=given["veg_cap"])
        program.row((use[t, np.logical_not(vegetable)], 1.0), at_most=given["nonveg_cap"])
        low, high = given["hardness_range"]
        program.row((use[t], hard - low), at_least=0)
        program.row((use[t], hard - high), at_most=0)
        program.row((use[t], 1.0), (food[t], -1.0), at_least=0, at_most=0)
    program.row((kept[-1, :1], 1.0), at_least=start)
    for i in range(oils):
        program.row((kept[-1, i], 1.0), at_least=start, at_most=start)
    loss = program.vector(
        (buy, cost), (kept, given["storage_cost"]), (food, -float(given["price"]))
    )
    outcome = program.solve([loss], gap=1e-9, seconds=20)
    want = PROBLEMS["food-manufacture-1"]["expected"]["profit"]
    # The opening stock is free and the closing stock pays its storage, as in the published figure.
    assert -outcome.values[0] == pytest.approx(want, rel=1e-6)


def test_pet_food_blend() -> None:
    given, want = PROBLEMS["pet-food"]["inputs"], PROBLEMS["pet-food"]["expected"]
    program = Program()
    grams = program.add((6,), 100)
    program.row((grams, 1.0), at_least=100, at_most=100)
    for name, limit in (("protein", 8), ("fat", 6)):
        program.row((grams, given[name]), at_least=limit)
    for name, limit in (("fibre", 2), ("salt", 0.4)):
        program.row((grams, given[name]), at_most=limit)
    outcome = program.solve([program.vector((grams, given["cost"]))], gap=1e-9, seconds=5)
    assert outcome.values[0] == pytest.approx(want["z"], abs=6e-5)
    assert outcome.x is not None
    np.testing.assert_allclose(outcome.x, want["x"], atol=6e-3)


def test_feed_mix_with_a_filler() -> None:
    given, want = PROBLEMS["limsolve-feed"]["inputs"], PROBLEMS["limsolve-feed"]["expected"]
    program = Program()
    x = program.add((3,))
    program.row((x, 1.0), at_least=1, at_most=1)
    for *parts, least in given["nutrients_g_per_kg"].values():
        program.row((x, parts), at_least=least)
    outcome = program.solve([program.vector((x, [40.0, 60.0, 0.0]))], gap=1e-9, seconds=5)
    assert outcome.x is not None
    assert outcome.values[0] == pytest.approx(want["z"], abs=6e-5)
    np.testing.assert_allclose(outcome.x, want["x"], atol=6e-5)


def test_a_later_goal_does_not_spoil_an_earlier_one() -> None:
    program = Program()
    x = program.add((2,), 10, whole=True)
    program.row((x, 1.0), at_least=7)
    first, second = program.vector((x, 1.0)), program.vector((x[:1], -1.0))
    heard = []
    outcome = program.solve(
        [first, second], gap=0, seconds=5, progress=lambda *told: heard.append(told)
    )
    assert outcome.values == pytest.approx((7, -7))
    assert [h[0] for h in heard] == [0, 1]


def test_no_solution_is_said() -> None:
    program = Program()
    x = program.add((1,), 1)
    program.row((x, 1.0), at_least=2)
    assert program.solve([program.vector((x, 1.0))], gap=0, seconds=5).status == "impossible"


def test_an_earlier_count_is_kept_even_where_giving_it_up_would_pay() -> None:
    """One more of x would save four of y: weighed 3 to 1 that looks good, but x comes first."""
    program = Program()
    x, y = program.add((1,), 5, whole=True), program.add((1,), 9, whole=True)
    program.row((x, 4.0), (y, 1.0), at_least=9)
    outcome = program.solve(
        [program.vector((x, 1.0)), program.vector((y, 1.0))], gap=0.0, seconds=5
    )
    assert outcome.values == pytest.approx((0, 9))
    assert (outcome.status, outcome.gap) == ("optimal", 0.0)
