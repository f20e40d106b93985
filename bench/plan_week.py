"""How fast is a week of roast days planned, and is it sound?"""

from __future__ import annotations

from dataclasses import replace
from time import perf_counter

import numpy as np

from bench.plan_roast_day import _DRUMS, _HOURS, _day
from coupage.plan import check_plan, roast_day

TITLE = "Roast week: five days in one plan"

_DAYS = 5


def run() -> str:
    rows = []
    for kg in (150.0, 440.0, 900.0):
        for seed in range(2):
            base, recipes, losses = _day(seed, kg, 0.0)
            rng = np.random.default_rng(seed)
            orders = [replace(o, day=int(rng.integers(1, _DAYS + 1))) for o in base]
            started = perf_counter()
            week = roast_day(orders, recipes, losses, _DRUMS, hours=_HOURS, seconds=20.0)
            took = perf_counter() - started
            faults = check_plan(week.batches, orders, recipes, losses, _DRUMS, hours=_HOURS)
            rows.append(
                f"| {kg:.0f} | {seed} | {len(orders)} | {week.status} | {week.gap:.4f} | "
                f"{week.total_surplus_kg:.1f} / {len(week.batches)} / {week.changes} | "
                f"{took:.1f} | {len(faults)} |"
            )
    head = (
        "Orders of the made-up day spread over five days of nine hours: 12 coffees, 2 unlike "
        "drums; what is roasted on one day may serve the next. At most 20 s of search.\n\n"
        "| kg | seed | orders | status | gap | surplus / batches / changes | s | faults |\n"
        "| --- | --- | --- | --- | --- | --- | --- | --- |\n"
    )
    return head + "\n".join(rows)
