"""The search for a plan: while a page waits where it is short, beside the pages where it is not.

A search tells the best plan so far after each of its goals. Whoever stops it keeps that one; what
the search still finds afterwards is dropped, since the day's revision has moved on.
"""

from __future__ import annotations

import datetime as dt
import logging
import threading
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from django.db import connection, transaction
from django.utils import timezone

from coupage.errors import InputError
from coupage.plan import PlannedBatch as Batch
from coupage.plan import RoastDay, check_plan, roast_day
from coupage.web.roastdays.facts import STEP_KG, DayFacts, facts_of
from coupage.web.roastdays.models import DayBatch, DayPlan

__all__ = ["PATIENCE", "STALE", "find", "told_of", "write_batches"]

log = logging.getLogger(__name__)

PATIENCE = 1.5
"""Seconds for which a page waits before it says that the plan is being worked out."""
SECONDS = 20.0
STALE = dt.timedelta(seconds=3 * SECONDS)

GOALS = {
    "surplus": "least coffee beyond the orders",
    "batches": "fewest batches",
    "odd charges": "charges as the approaches want them",
    "changes": "fewest changes of coffee",
}


@dataclass(slots=True)
class _Search:
    """One search under way, shared by its thread and the page that began it."""

    facts: DayFacts
    day: int
    revision: int
    alone: bool = False  # nobody waits any more: the thread writes by itself
    finished: bool = False
    plan: RoastDay | None = None
    problem: str = ""
    told: list[dict[str, Any]] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)


def find(day: DayPlan) -> bool:
    """Look for the day's plan; True when it is there, False while it is being worked out."""
    search = _Search(facts_of(day), day.pk, day.revision)
    thread = threading.Thread(target=_work, args=(search,), daemon=True)
    thread.start()
    thread.join(PATIENCE)
    with search.lock:
        if search.finished:
            _write(search)
        else:
            search.alone = True
    return not search.alone


def _work(search: _Search) -> None:
    try:
        plan = _search(search)
        with search.lock:
            search.plan = plan
    except InputError as problem:
        search.problem = str(problem)
    except Exception:
        log.exception("the search for a roast day failed")
        search.problem = "the search broke down; the log says more"
    with search.lock:
        search.finished = True
        if search.alone:
            try:
                _write(search)
            finally:
                connection.close()


def _search(search: _Search) -> RoastDay:
    facts = search.facts
    if not (facts.demand or facts.pinned):
        return RoastDay((), {}, "optimal", 0.0)
    if not facts.drums:
        raise InputError("there is no machine to roast on; add one under Batches, Machines")
    return roast_day(
        facts.demand,
        facts.recipes,
        facts.losses,
        facts.drums,
        **facts.arguments(),
        charge_step_kg=STEP_KG,
        seconds=SECONDS,
        progress=lambda goal, value, gap: search.told.append(
            {"goal": GOALS.get(goal, goal), "value": round(value, 2), "gap": round(gap, 4)}
        ),
        best=lambda plan: _so_far(search, plan),
    )


def _so_far(search: _Search, plan: RoastDay) -> None:
    """Keep the best so far, for whoever stops the search."""
    with search.lock:
        search.plan = plan
        if search.alone:
            _write(search, under_way=True)


@transaction.atomic
def _write(search: _Search, *, under_way: bool = False) -> None:
    """Put what was found into the day, unless it has moved on since."""
    same = DayPlan.objects.select_for_update().filter(pk=search.day, revision=search.revision)
    day = same.first()
    if day is None:
        return
    if search.plan is None:
        day.found = {"problem": search.problem or "nothing was found in time"}
    else:
        write_batches(day, search.facts, search.plan.batches)
        day.found = told_of(search.facts, search.plan) | {"told": search.told}
    day.asked_at = day.asked_at if under_way else None
    day.save(update_fields=["found", "asked_at"])


def write_batches(day: DayPlan, facts: DayFacts, batches: Sequence[Batch]) -> None:
    """Write a plan's batches in place of those that are not at the machine."""
    day.batches.filter(planned__isnull=True).delete()
    pinned = [(p.coffee, p.drum, p.charge_kg) for p in facts.pinned]
    rows = []
    for batch in batches:
        key = (batch.coffee, batch.drum, batch.charge_kg)
        is_pinned = key in pinned
        if is_pinned:
            pinned.remove(key)
        rows.append(_row(day, facts, batch, pinned=is_pinned))
    DayBatch.objects.bulk_create(rows)


def _row(day: DayPlan, facts: DayFacts, batch: Batch, *, pinned: bool) -> DayBatch:
    return DayBatch(
        day=day,
        approach=facts.approaches[batch.coffee],
        machine=facts.machines[batch.drum],
        start_minute=round(batch.start_minute),
        end_minute=round(batch.end_minute),
        charge_g=round(1000 * batch.charge_kg),
        expected_g=round(1000 * batch.expected_kg),
        pinned=pinned,
    )


def told_of(facts: DayFacts, plan: RoastDay) -> dict[str, Any]:
    """What the page says of a plan, as plain values."""
    faults: tuple[str, ...] = ()
    if plan.status != "impossible" and facts.drums:
        faults = check_plan(
            plan.batches, facts.demand, facts.recipes, facts.losses, facts.drums,
            **facts.arguments(),
        )  # fmt: skip
    return {
        "status": plan.status,
        "gap": plan.gap if plan.gap < 1e6 else None,
        "changes": plan.changes,
        "surplus_kg": {n: round(kg, 3) for n, kg in plan.surplus_kg.items() if kg > 0.05},
        "minutes": {name: round(minutes) for name, minutes in plan.minutes.items()},
        "green_kg": {name: round(kg, 3) for name, kg in plan.green_kg.items()},
        "unmet_kg": {name: round(kg, 3) for name, kg in plan.unmet_kg.items()},
        "ways": [
            {"sentence": way.sentence(), "price": round(way.price, 2), **asdict(way)}
            for way in plan.ways_out
        ],
        "faults": list(faults),
        "left_out": list(facts.left_out),
        "ordered_kg": round(sum(order.kg for order in facts.demand), 3),
        "orders": len(facts.demand),
        "told": [],
        "at": timezone.now().isoformat(),
        "roasted_kg": {n: round(kg, 3) for n, kg in facts.stock_roasted_kg.items()},
    }
