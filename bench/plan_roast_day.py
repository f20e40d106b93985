"""How fast is a roast day planned, and does a second solver agree?"""

from __future__ import annotations

from dataclasses import replace
from time import perf_counter

import numpy as np

from coupage.plan import Drum, Order, check_plan, roast_day
from coupage.plan.day_model import GOALS, build, chosen_goals
from coupage.plan.problem import read
from coupage.plan.program import Program

TITLE = "Roast day: time to a proven plan, against SCIP"

_DRUMS = (Drum(4, 12, "large", 14, 6), Drum(2, 6, "small", 12, 5))
_HOURS = 9.0


def _day(seed: int, kg: float, early: float) -> tuple[list[Order], dict, dict]:
    """Orders of six blends and twelve single coffees; a part of them due after four hours."""
    rng = np.random.default_rng(seed)
    coffees = [f"coffee {i + 1}" for i in range(12)]
    recipes = {}
    for b in range(6):
        size = int(rng.integers(2, 5))
        parts = rng.integers(1, 5, size)
        names = rng.choice(12, size, replace=False)
        recipes[f"blend {b + 1}"] = {
            coffees[c]: float(w) for c, w in zip(names, parts / parts.sum(), strict=True)
        }
    recipes |= {f"single {c}": {c: 1.0} for c in coffees}
    losses = {c: float(rng.uniform(0.13, 0.19)) for c in coffees}
    orders, total = [], 0.0
    for c in coffees:  # every coffee is asked for
        orders.append(Order(f"single {c}", float(rng.integers(3, 9))))
        total += orders[-1].kg
    while total < kg:
        orders.append(Order(str(rng.choice(list(recipes))), float(rng.integers(5, 25))))
        total += orders[-1].kg
    due = [4.0 if rng.random() < early else None for _ in orders]
    named = [
        replace(o, name=f"{i}", due_hours=d)
        for i, (o, d) in enumerate(zip(orders, due, strict=True))
    ]
    return named, recipes, losses


def _by_scip(program: Program, goals: list[np.ndarray], seconds: float) -> tuple[str, float]:
    """The same program and the same goals in turn, each to the same gap, by SCIP."""
    from pyscipopt import Model, quicksum

    started, values = perf_counter(), []
    kept: list[tuple[np.ndarray, float]] = []
    for goal in goals:
        model = Model()
        model.hideOutput()
        x = [
            model.addVar(vtype="I" if w else "C", lb=lo, ub=None if np.isinf(up) else up)
            for lo, up, w in zip(program.lower, program.upper, program.whole, strict=True)
        ]
        for columns, factors, low, high in program.rows:
            total = quicksum(f * x[c] for c, f in zip(columns, factors, strict=True))
            if low == high:
                model.addCons(total == low)
            else:
                if np.isfinite(low):
                    model.addCons(total >= low)
                if np.isfinite(high):
                    model.addCons(total <= high)
        for past, most in kept:
            model.addCons(quicksum(past[i] * x[i] for i in np.flatnonzero(past)) <= most)
        model.setObjective(quicksum(goal[i] * x[i] for i in np.flatnonzero(goal)), "minimize")
        model.setParam("limits/gap", 0.01)
        model.setParam("limits/time", max(seconds - (perf_counter() - started), 0.1))
        model.optimize()
        if model.getNSols() == 0:
            return "nothing in time", perf_counter() - started
        values.append(model.getObjVal())
        kept.append((goal, values[-1] + 1e-4))
    return " / ".join(f"{v + 0.0:.1f}" for v in values), perf_counter() - started


def run() -> str:
    rows = []
    for early in (0.0, 0.15):
        for seed in range(4):
            orders, recipes, losses = _day(seed, 440.0, early)
            started = perf_counter()
            day = roast_day(orders, recipes, losses, _DRUMS, hours=_HOURS)
            ours = perf_counter() - started
            faults = check_plan(day.batches, orders, recipes, losses, _DRUMS, hours=_HOURS)
            problem = read(
                orders, recipes, losses, _DRUMS, stock_roasted_kg=None, stock_green_kg=None,
                hours=_HOURS, safety=0.95, ranks=None, pre_roast=None, charge_step_kg=None,
            )  # fmt: skip
            model = build(problem)
            theirs, scip = _by_scip(model.program, chosen_goals(GOALS, model), 60.0)
            found = f"{day.total_surplus_kg:.1f} / {len(day.batches)} / {day.changes}"
            rows.append(
                f"| {100 * early:.0f} % | {seed} | {day.status} | {day.gap:.4f} | {found} "
                f"| {theirs} | {ours:.2f} | {scip:.2f} | {scip / ours:.1f} | {len(faults)} |"
            )
    head = (
        "A made-up day: 12 coffees, 2 unlike drums, 9 hours, 440 kg roasted in orders of blends "
        "and single coffees; in half of the runs a part of the orders is due after four hours. "
        "Goals in turn: kilograms of surplus, batches, changes, each proven to 1 %. SCIP solves "
        "the same program with the same goals. Faults: what the independent check finds.\n\n"
        "| due early | seed | status | gap | surplus / batches / changes | SCIP | s | SCIP, s "
        "| SCIP / ours | faults |\n| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |\n"
    )
    return head + "\n".join(rows)
