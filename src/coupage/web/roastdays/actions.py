"""Writes about roast days, one transaction each."""

from __future__ import annotations

import datetime as dt

from django.db import transaction
from django.db.models import F, Sum

from coupage.errors import InputError
from coupage.web.batches.models import Machine, PlannedBatch
from coupage.web.coffees.actions import day_purpose, reserve
from coupage.web.coffees.models import Approach
from coupage.web.common.revisions import take_revision
from coupage.web.people import history
from coupage.web.people.models import Person
from coupage.web.roastdays.models import DayBatch, DayPlan

__all__ = [
    "add_day",
    "ask",
    "change_day",
    "close_day",
    "pin",
    "pin_new",
    "promise_green",
    "send_to_machines",
    "stop",
    "take_back",
    "unpin",
]

DAY_FIELDS = ("on", "starts_at", "hours", "until", "safety", "use_within_days", "note")


@transaction.atomic
def add_day(*, day: DayPlan, by: Person, at: dt.datetime) -> DayPlan:
    """Begin the plan of a day; a search for it comes next."""
    day.made_by = by
    day.asked_at = at
    day.full_clean()
    day.save()
    after = history.snapshot(day, DAY_FIELDS)
    history.record(day, verb="began to plan", by=by, at=at, after=after)
    return day


@transaction.atomic
def change_day(*, day: DayPlan, revision: int, by: Person, at: dt.datetime) -> DayPlan:
    """Save a day's hours and limits, unless somebody else did meanwhile; a search comes next.

    Raises
    ------
    StaleError
        When the day's revision is no longer ``revision``.
    """
    before = history.snapshot(DayPlan.objects.get(pk=day.pk), DAY_FIELDS)
    take_revision(DayPlan, day.pk, revision)
    day.asked_at = at
    day.full_clean()
    day.save(update_fields=[*DAY_FIELDS, "asked_at"])
    day.refresh_from_db()
    after = history.snapshot(day, DAY_FIELDS)
    history.record(day, verb="changed", by=by, at=at, before=before, after=after)
    return day


@transaction.atomic
def ask(*, day: DayPlan, at: dt.datetime) -> DayPlan:
    """Begin a new search: whatever an older one still finds is dropped."""
    DayPlan.objects.filter(pk=day.pk).update(revision=F("revision") + 1, asked_at=at)
    day.refresh_from_db()
    return day


@transaction.atomic
def stop(*, day: DayPlan, by: Person, at: dt.datetime) -> DayPlan:
    """Stop the search and keep the best plan so far.

    Raises
    ------
    InputError
        When no search is under way.
    """
    day = DayPlan.objects.select_for_update().get(pk=day.pk)
    if day.asked_at is None:
        raise InputError("no search is under way; the plan stands as it is")
    day.asked_at = None
    day.revision += 1
    day.found = {**day.found, "stopped": True}
    if "status" not in day.found:
        day.found["problem"] = "it was stopped before there was a first plan; plan again"
    day.save(update_fields=["asked_at", "revision", "found"])
    history.record(day, verb="stopped planning", by=by, at=at)
    return day


def _charge_fits(machine: Machine, charge_g: int) -> None:
    if not machine.least_charge_g <= charge_g <= machine.largest_charge_g:
        raise InputError(
            f"{machine} takes {machine.least_charge_g / 1000:g} to "
            f"{machine.largest_charge_g / 1000:g} kg; {charge_g / 1000:g} kg is no charge for it"
        )
    if charge_g % 100:
        raise InputError(f"{charge_g / 1000:g} kg: charges come in steps of 0.1 kg; round it")


@transaction.atomic
def pin(
    *, batch: DayBatch, machine: Machine, charge_g: int, by: Person, at: dt.datetime
) -> DayBatch:
    """Set a batch as the roaster wants it; the rest is planned around it.

    Raises
    ------
    InputError
        When the machine does not take the charge, or the batch is at the machine already.
    """
    batch = DayBatch.objects.select_for_update(of=("self",)).get(pk=batch.pk)
    if batch.planned_id is not None:
        raise InputError("this batch is on the machine's list; change it there")
    _charge_fits(machine, charge_g)
    before = {"machine": batch.machine_id, "charge_g": batch.charge_g, "pinned": batch.pinned}
    kept = batch.expected_g / batch.charge_g
    batch.machine, batch.charge_g, batch.pinned = machine, charge_g, True
    batch.expected_g = round(charge_g * kept)
    batch.save()
    after = {"machine": machine.pk, "charge_g": charge_g, "pinned": True}
    history.record(batch.day, verb=f"pinned {batch} on", by=by, at=at, before=before, after=after)
    return batch


@transaction.atomic
def pin_new(
    *,
    day: DayPlan,
    approach: Approach,
    machine: Machine,
    charge_g: int,
    by: Person,
    at: dt.datetime,
) -> DayBatch:
    """Add a batch of the roaster's own to a day."""
    _charge_fits(machine, charge_g)
    batch = DayBatch(
        day=day,
        approach=approach,
        machine=machine,
        charge_g=charge_g,
        expected_g=charge_g,  # until the plan says what its approach loses
        start_minute=0,
        end_minute=machine.minutes,
        pinned=True,
    )
    batch.full_clean()
    batch.save()
    history.record(day, verb=f"added {batch} to", by=by, at=at)
    return batch


@transaction.atomic
def unpin(*, batch: DayBatch, by: Person, at: dt.datetime) -> None:
    """Let the planner decide about a batch again."""
    changed = DayBatch.objects.filter(pk=batch.pk, pinned=True).update(pinned=False)
    if not changed:
        raise InputError("this batch is not pinned")
    history.record(batch.day, verb=f"let go of {batch} on", by=by, at=at)


@transaction.atomic
def send_to_machines(*, day: DayPlan, revision: int, by: Person, at: dt.datetime) -> int:
    """Put the plan on the machines' lists and promise its green; gives how many batches came new.

    Raises
    ------
    StaleError
        When somebody else planned anew meanwhile.
    InputError
        When a search is under way, there is nothing to send, or the green is not free any more.
    """
    take_revision(DayPlan, day.pk, revision)
    day = DayPlan.objects.select_for_update().get(pk=day.pk)
    if day.asked_at is not None:
        raise InputError("the plan is still being worked out; wait, or stop the search first")
    if day.closed_at is not None:
        raise InputError(f"the {str(day).lower()} is closed; open another day")
    rows = list(
        day.batches.select_related("approach__lot", "machine", "planned").order_by(
            "machine__name", "start_minute", "id"
        )
    )
    if not rows:
        raise InputError("the plan holds no batch; there is nothing to send")
    new = 0
    for place, row in enumerate(rows):
        if row.planned is None:
            row.planned = PlannedBatch.objects.create(
                on=day.on,
                approach=row.approach,
                machine=row.machine,
                green_g=row.charge_g,
                order=place,
            )
            row.save(update_fields=["planned"])
            new += 1
        else:
            PlannedBatch.objects.filter(pk=row.planned.pk).update(order=place)
    promise_green(day, by=by, at=at)
    DayPlan.objects.filter(pk=day.pk).update(sent_at=at)
    history.record(day, verb="sent to the machines", by=by, at=at, after={"batches": len(rows)})
    return new


def promise_green(day: DayPlan, *, by: Person, at: dt.datetime) -> None:
    """Promise the green of the batches that are still to be charged, and no more."""
    waiting = (
        PlannedBatch.objects.filter(day_batch__day=day, batch__isnull=True, dropped=False)
        .order_by()
        .values("approach__lot")
        .annotate(total=Sum("green_g"))
    )
    wanted = {row["approach__lot"]: row["total"] for row in waiting}
    reserve(purpose=day_purpose(day.on), wanted_g=wanted, on=day.on, by=by, at=at)


@transaction.atomic
def take_back(*, day: DayPlan, by: Person, at: dt.datetime) -> int:
    """Take what was not charged off the machines' lists, to plan anew; its green is free again.

    Raises
    ------
    InputError
        When the plan is not at the machines, or the day is closed.
    """
    day = DayPlan.objects.select_for_update().get(pk=day.pk)
    if day.sent_at is None or day.closed_at is not None:
        raise InputError(f"the plan of the {str(day).lower()} is not at the machines")
    rows = list(day.batches.filter(planned__batch__isnull=True, planned__isnull=False))
    keys = [row.planned_id for row in rows if row.planned_id is not None]
    day.batches.filter(pk__in=[row.pk for row in rows]).update(planned=None)
    PlannedBatch.objects.filter(pk__in=keys).update(dropped=True)
    promise_green(day, by=by, at=at)
    DayPlan.objects.filter(pk=day.pk).update(sent_at=None, revision=F("revision") + 1)
    history.record(day, verb="took back from the machines", by=by, at=at)
    return len(rows)


@transaction.atomic
def close_day(*, day: DayPlan, by: Person, at: dt.datetime) -> int:
    """End a day: batches that were not charged leave the lists, their green is free again."""
    day = DayPlan.objects.select_for_update().get(pk=day.pk)
    if day.closed_at is not None:
        raise InputError(f"the {str(day).lower()} is closed already")
    left = PlannedBatch.objects.filter(day_batch__day=day, batch__isnull=True, dropped=False)
    count = left.update(dropped=True)
    promise_green(day, by=by, at=at)
    DayPlan.objects.filter(pk=day.pk).update(closed_at=at, asked_at=None)
    history.record(day, verb="closed", by=by, at=at, after={"not roasted": count})
    return count
