"""Writes from the machine, where gloves are on: charge, first crack, drop, weigh."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from django.db import transaction
from django.utils import timezone

from coupage.errors import InputError
from coupage.web.batches import queries
from coupage.web.batches.actions import BATCH_FIELDS, add_batch
from coupage.web.batches.models import Batch, Machine, PlannedBatch
from coupage.web.coffees.actions import day_purpose, move_promise
from coupage.web.coffees.models import Approach
from coupage.web.coffees.queries import was_promised
from coupage.web.people import history
from coupage.web.people.models import Person

__all__ = [
    "charge",
    "drop",
    "mark_first_crack",
    "plan_batch",
    "take_back_charge",
    "take_back_drop",
    "take_off_list",
    "weigh",
]


@transaction.atomic
def plan_batch(
    *,
    approach: Approach,
    machine: Machine,
    on: dt.date,
    green_g: int,
    by: Person,
    at: dt.datetime,
    note: str = "",
) -> PlannedBatch:
    """Put a batch on a machine's list of a day, at the end."""
    newest = PlannedBatch.objects.filter(machine=machine, on=on).order_by("-order").first()
    planned = PlannedBatch(
        approach=approach,
        machine=machine,
        on=on,
        green_g=green_g,
        note=note,
        order=newest.order + 1 if newest else 0,
    )
    planned.full_clean()
    planned.save()
    history.record(planned, verb="planned", by=by, at=at, after={"green_g": green_g})
    return planned


@transaction.atomic
def take_off_list(*, planned: PlannedBatch, off: bool, by: Person, at: dt.datetime) -> None:
    """Take a batch off the list, or put it back; nothing is deleted."""
    waiting = PlannedBatch.objects.filter(pk=planned.pk, batch__isnull=True, dropped=not off)
    if not waiting.update(dropped=off):
        raise InputError(f"{planned} is {'off the list' if off else 'on the list'} already")
    history.record(
        planned, verb="took off the list" if off else "put back on the list", by=by, at=at
    )


@transaction.atomic
def charge(
    *, planned: PlannedBatch, by: Person, at: dt.datetime, green_g: int | None = None
) -> Batch:
    """Make a planned batch a batch in the drum, now.

    Raises
    ------
    InputError
        When it was charged or taken off the list already, or its approach has no targets yet.
    """
    planned = (
        PlannedBatch.objects.select_for_update(of=("self",))
        .select_related("approach__lot", "machine", "batch")
        .get(pk=planned.pk)
    )
    if planned.batch is not None:
        raise InputError(f"this one is in the drum already, as {planned.batch.number}")
    if planned.dropped:
        raise InputError(f"{planned} was taken off the list; put it back first")
    version = planned.approach.versions.order_by("-number").first()
    if version is None:
        raise InputError(f"{planned.approach} has no targets yet; give it some first")
    number = queries.number_on(timezone.localtime(at).date())
    batch = Batch(
        number=number,
        approach_version=version,
        machine=planned.machine,
        roasted_at=at,
        green_g=green_g or planned.green_g,
        operator=by,
        note=planned.note,
    )
    batch = add_batch(batch=batch, by=by, at=at)
    PlannedBatch.objects.filter(pk=planned.pk).update(batch=batch)
    # What was promised to the day's plan is in the drum now.
    move_promise(planned.approach.lot, day_purpose(planned.on), -planned.green_g, at=at, by=by)
    return batch


@transaction.atomic
def take_back_charge(*, batch: Batch, by: Person, at: dt.datetime) -> None:
    """Void a batch that was charged by mistake, and put its plan back on the list.

    Raises
    ------
    InputError
        When it was dropped or voided meanwhile.
    """
    batch = Batch.objects.select_for_update().get(pk=batch.pk)
    if batch.void or batch.seconds is not None or batch.roasted_g is not None:
        raise InputError(f"{batch} is no longer in the drum; void it on its own page")
    batch.void = True
    batch.save(update_fields=["void"])
    planned = PlannedBatch.objects.filter(batch=batch).select_related("approach__lot").first()
    if planned is not None:
        lot, purpose = planned.approach.lot, day_purpose(planned.on)
        if was_promised(purpose, lot):
            move_promise(lot, purpose, planned.green_g, at=at, by=by)
    PlannedBatch.objects.filter(batch=batch).update(batch=None)
    history.record(batch, verb="took back the charge of", by=by, at=at)


def _change(batch: Batch, by: Person, at: dt.datetime, verb: str, **values: object) -> Batch:
    """Set some fields of a locked batch, with its line of history and its next revision."""
    before = history.snapshot(batch, BATCH_FIELDS)
    for name, value in values.items():
        setattr(batch, name, value)
    batch.revision += 1
    batch.full_clean()
    batch.save(update_fields=[*values, "revision"])
    after = history.snapshot(batch, BATCH_FIELDS)
    history.record(batch, verb=verb, by=by, at=at, before=before, after=after)
    return batch


def _locked(batch: Batch) -> Batch:
    found = Batch.objects.select_for_update().get(pk=batch.pk)
    if found.void:
        raise InputError(f"{found} is void")
    return found


@transaction.atomic
def mark_first_crack(*, batch: Batch, by: Person, at: dt.datetime) -> Batch:
    """Write down that the first crack began now."""
    batch = _locked(batch)
    if batch.first_crack_s is not None:
        raise InputError(f"the first crack of {batch.number} is written down already")
    return _change(batch, by, at, "heard the first crack of", first_crack_s=_since(batch, at))


@transaction.atomic
def drop(*, batch: Batch, by: Person, at: dt.datetime) -> Batch:
    """Write down that the batch came out of the drum now."""
    batch = _locked(batch)
    if batch.seconds is not None:
        raise InputError(f"{batch} is dropped already")
    return _change(batch, by, at, "dropped", seconds=_since(batch, at))


@transaction.atomic
def take_back_drop(*, batch: Batch, by: Person, at: dt.datetime) -> Batch:
    """Say that a batch is still in the drum.

    Raises
    ------
    InputError
        When it was not dropped, or is weighed already.
    """
    batch = _locked(batch)
    if batch.seconds is None or batch.roasted_g is not None:
        raise InputError(f"{batch} cannot go back into the drum; correct it on its own page")
    return _change(batch, by, at, "took back the drop of", seconds=None)


def _since(batch: Batch, at: dt.datetime) -> int:
    seconds = round((at - batch.roasted_at).total_seconds())
    if not 0 < seconds <= queries.LONGEST_ROAST.total_seconds():
        raise InputError(
            f"{batch} was charged {seconds // 60} minutes ago by the clock; type its roast time "
            "on its own page"
        )
    return seconds


@transaction.atomic
def weigh(
    *,
    batch: Batch,
    roasted_g: int,
    by: Person,
    at: dt.datetime,
    end_temperature_c: Decimal | None = None,
    colour: Decimal | None = None,
    note: str = "",
) -> Batch:
    """Write down what came out, with colour and end temperature where they were read.

    The colour is on the scale of the approach, read on ground coffee unless the page says else.

    Raises
    ------
    InputError
        When more comes out than went in, it is weighed already, or the colour has no scale.
    """
    batch = _locked(batch)
    if batch.roasted_g is not None:
        raise InputError(f"{batch} is weighed already; correct it on its own page")
    if roasted_g > batch.green_g:
        raise InputError("more cannot come out than went in; check both masses")
    values: dict[str, object] = {"roasted_g": roasted_g}
    if end_temperature_c is not None:
        values["end_temperature_c"] = end_temperature_c
    if colour is not None:
        scale = batch.approach_version.colour_scale
        if not scale:
            raise InputError(
                "the approach names no colour scale; write the colour down on the batch's own page"
            )
        values |= {"colour": colour, "colour_scale": scale}
    if note:
        values["note"] = f"{batch.note}\n{note}".strip()
    return _change(batch, by, at, "weighed", **values)
