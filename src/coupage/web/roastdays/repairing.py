"""During the day: real losses come in, and the rest of the plan is mended with the least change."""

from __future__ import annotations

import datetime as dt

from django.db import transaction
from django.utils import timezone

from coupage.errors import InputError
from coupage.plan import PlannedBatch as Planned
from coupage.plan import Repair, repair_day
from coupage.web.batches.models import PlannedBatch
from coupage.web.people import history
from coupage.web.people.models import Person
from coupage.web.roastdays.actions import promise_green, send_to_machines
from coupage.web.roastdays.facts import STEP_KG, DayFacts, facts_of, in_the_drum
from coupage.web.roastdays.finding import told_of, write_batches
from coupage.web.roastdays.models import DayBatch, DayPlan

__all__ = ["mend", "mend_day"]

_SECONDS = 8.0


@transaction.atomic
def mend_day(*, day: DayPlan, by: Person, at: dt.datetime) -> str:
    """Plan the rest of the day from what has come out of the drums; gives what changes, in words.

    Batches that are charged stay; of the rest as much as can be stays as it was.

    Raises
    ------
    InputError
        When the plan is not at the machines yet, or the day is closed.
    """
    day = DayPlan.objects.select_for_update().get(pk=day.pk)
    if day.sent_at is None or day.closed_at is not None:
        raise InputError("only a day that is at the machines can be mended; send its plan first")
    facts = facts_of(day)
    waiting = list(
        day.batches.filter(planned__batch__isnull=True, planned__dropped=False).select_related(
            "approach__lot", "machine", "planned"
        )
    )
    repair = mend(day, facts, waiting, at)
    said = repair.sentence()
    if repair.changes or repair.day.unmet_kg:
        _replace(day, facts, waiting, repair)
        day.found = told_of(facts, repair.day)
    day.found = {**day.found, "mended": said, "mended_at": at.isoformat()}
    day.save(update_fields=["found"])
    if repair.changes and day.batches.filter(planned__isnull=True).exists():
        send_to_machines(day=day, revision=day.revision, by=by, at=at)
    elif repair.changes:
        promise_green(day, by=by, at=at)
    history.record(day, verb="mended", by=by, at=at, note=said)
    return said


def mend(day: DayPlan, facts: DayFacts, waiting: list[DayBatch], at: dt.datetime) -> Repair:
    """Work the rest of a day out; a drum is free when what is in it is done."""
    now = max(_minute(day, at), 0.0)
    free = {drum.name: now for drum in facts.drums}
    for batch in in_the_drum(day):
        if batch.machine is not None and batch.machine.name in free and batch.seconds is None:
            ends = _minute(day, batch.roasted_at) + batch.machine.minutes
            free[batch.machine.name] = max(free[batch.machine.name], ends)
    planned = [
        Planned(
            str(row.approach), row.machine.name, 1, float(row.start_minute),
            float(row.end_minute), row.charge_g / 1000, row.expected_g / 1000,
        )
        for row in waiting
    ]  # fmt: skip
    there = [(p.coffee, p.drum, p.charge_kg) for p in planned]
    pinned = tuple(p for p in facts.pinned if (p.coffee, p.drum, p.charge_kg) in there)
    return repair_day(
        planned,
        [],
        facts.demand,
        facts.recipes,
        facts.losses,
        facts.drums,
        now_minutes=free,
        charge_step_kg=STEP_KG,
        seconds=_SECONDS,
        **(facts.arguments() | {"pinned": pinned}),
    )


def _minute(day: DayPlan, at: dt.datetime) -> float:
    """Minutes from the day's first charge."""
    begins = timezone.make_aware(dt.datetime.combine(day.on, day.starts_at))
    return (at - begins).total_seconds() / 60


def _replace(day: DayPlan, facts: DayFacts, waiting: list[DayBatch], repair: Repair) -> None:
    """Keep the rows of batches that stay; take the others off the lists and write the new ones."""
    left = list(repair.day.batches)
    for row in waiting:
        here = [b for b in left if (b.coffee, b.drum) == (str(row.approach), row.machine.name)]
        same = next((b for b in here if abs(b.charge_kg - row.charge_g / 1000) <= 0.05), None)
        if same is None:
            PlannedBatch.objects.filter(day_batch=row).update(dropped=True)
            row.delete()
            continue
        left.remove(same)
        row.start_minute, row.end_minute = round(same.start_minute), round(same.end_minute)
        row.save(update_fields=["start_minute", "end_minute"])
    write_batches(day, facts, left)
