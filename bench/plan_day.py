"""How does the number of due times within a day weigh on the plan of sixty batches?"""

from __future__ import annotations

from dataclasses import replace
from time import perf_counter

import numpy as np

from bench.plan_roast_day import _DRUMS, _HOURS, _by_scip, _day
from coupage.plan import Order, check_plan, roast_day
from coupage.plan.day_model import GOALS, build, chosen_goals
from coupage.plan.problem import read

TITLE = "Roast day: many due times"

_TIMES = {1: (None,), 2: (4.0, None), 3: (3.0, 6.0, None), 5: (2.0, 3.5, 5.0, 6.5, None)}
_SECONDS = 20.0


def _with_due_times(orders: list[Order], count: int, seed: int) -> list[Order]:
    """Two thirds are due by the end of the day, the rest spread over the earlier times."""
    rng = np.random.default_rng(seed)
    times = _TIMES[count]
    early = len(times) - 1
    chances = [1 / 3 / early] * early + [2 / 3] if early else [1.0]
    drawn = rng.choice(len(times), len(orders), p=chances)
    return [replace(o, due_hours=times[int(k)]) for o, k in zip(orders, drawn, strict=True)]


def run() -> str:
    rows = []
    for count in _TIMES:
        for seed in range(2):
            base, recipes, losses = _day(seed, 440.0, 0.0)
            orders = _with_due_times(base, count, seed)
            firsts: list[float] = []
            started = perf_counter()
            day = roast_day(
                orders, recipes, losses, _DRUMS, hours=_HOURS, seconds=_SECONDS,
                best=lambda _plan, s=started, f=firsts: f.append(perf_counter() - s),
            )  # fmt: skip
            took = perf_counter() - started
            faults = check_plan(day.batches, orders, recipes, losses, _DRUMS, hours=_HOURS)
            theirs = "–"
            if count == 2:
                problem = read(
                    orders, recipes, losses, _DRUMS, stock_roasted_kg=None, stock_green_kg=None,
                    hours=_HOURS, safety=0.95, ranks=None, pre_roast=None, charge_step_kg=None,
                )  # fmt: skip
                model = build(problem)
                said, scip = _by_scip(model.program, chosen_goals(GOALS, model), _SECONDS)
                theirs = f"{said} in {scip:.1f} s"
            rows.append(
                f"| {count} | {seed} | {day.status} | {day.gap:.4f} | "
                f"{day.total_surplus_kg:.1f} / {len(day.batches)} / {day.changes} | "
                f"{firsts[0] if firsts else took:.1f} | {took:.1f} | {theirs} | {len(faults)} |"
            )
    head = (
        "The made-up day of the table above: 12 coffees, 2 unlike drums, 9 hours, 440 kg. A third "
        "of the orders is due at earlier times of the day. At most 20 s of search; what is not "
        "proven to 1 % by then says so. First plan: after how many seconds a plan with the proven "
        "least surplus was there, which is what whoever stops the search gets. SCIP: the same "
        "program and time.\n\n"
        "| due times | seed | status | gap | surplus / batches / changes | first plan, s | s "
        "| SCIP | faults |\n| --- | --- | --- | --- | --- | --- | --- | --- | --- |\n"
    )
    return head + "\n".join(rows)
