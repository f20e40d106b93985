"""Writes about batches and machines, one transaction each."""

from __future__ import annotations

import datetime as dt

from django.db import transaction
from django.utils import timezone

from coupage.errors import InputError
from coupage.web.batches.models import Batch, BatchVerdict, Machine, Verdict
from coupage.web.common.dates import day_text
from coupage.web.common.revisions import take_revision
from coupage.web.people import history
from coupage.web.people.models import Person

__all__ = [
    "add_batch",
    "add_machine",
    "change_batch",
    "change_machine",
    "judge_batch",
    "void_batch",
]

BATCH_FIELDS = (
    "number",
    "approach_version",
    "machine",
    "roasted_at",
    "green_g",
    "roasted_g",
    "seconds",
    "first_crack_s",
    "end_temperature_c",
    "colour",
    "colour_scale",
    "colour_ground",
    "operator",
    "note",
)
MACHINE_FIELDS = (
    "name",
    "site",
    "least_charge_g",
    "largest_charge_g",
    "minutes",
    "change_minutes",
)


@transaction.atomic
def add_batch(*, batch: Batch, by: Person, at: dt.datetime) -> Batch:
    """Save a new batch."""
    batch.full_clean()
    batch.save()
    after = history.snapshot(batch, BATCH_FIELDS)
    history.record(batch, verb="recorded", by=by, at=at, after=after)
    return batch


@transaction.atomic
def change_batch(*, batch: Batch, revision: int, by: Person, at: dt.datetime) -> Batch:
    """Correct a batch; how it stood before stays in the history.

    Raises
    ------
    StaleError
        When the batch's revision is no longer ``revision``.
    InputError
        When more of it is used already than would have come out.
    """
    before = history.snapshot(Batch.objects.get(pk=batch.pk), BATCH_FIELDS)
    take_revision(Batch, batch.pk, revision)
    batch.full_clean()
    _check_spent(batch, batch.roasted_g or 0)
    _check_first_use(batch)
    batch.save(update_fields=BATCH_FIELDS)
    after = history.snapshot(batch, BATCH_FIELDS)
    history.record(batch, verb="corrected", by=by, at=at, before=before, after=after)
    return batch


@transaction.atomic
def judge_batch(
    *,
    batch: Batch,
    verdict: str,
    reason: str,
    by: Person,
    at: dt.datetime,
    proposed: str = "",
) -> BatchVerdict:
    """Release a batch, say to look again, or hold it.

    ``proposed`` is what was proposed from numbers and taste; empty when nothing was.

    Raises
    ------
    InputError
        When the verdict is unknown; a hold, a lifted hold or an overruled proposal gives no
        reason; or the batch is void.
    """
    batch = Batch.objects.select_for_update().get(pk=batch.pk)
    if verdict not in Verdict.values or verdict == Verdict.WAITING:
        raise InputError(f"verdict: {verdict!r} is not one of release, look again, hold")
    if batch.void:
        raise InputError(f"{batch} is void; take that back before judging it")
    if not reason and verdict == Verdict.HOLD:
        raise InputError("say why the batch is held; whoever meets it at the blender must know")
    if not reason and batch.verdict == Verdict.HOLD:
        raise InputError("say why the hold is lifted; it stays in the history beside your name")
    if not reason and proposed not in {"", verdict}:
        raise InputError(
            f"{proposed} was proposed; say why you decide otherwise, it stays beside your name"
        )
    row = BatchVerdict.objects.create(
        batch=batch, verdict=verdict, proposed=proposed, reason=reason, by=by, at=at
    )
    before = {"verdict": batch.verdict}
    batch.verdict = verdict
    batch.save(update_fields=["verdict"])
    history.record(
        batch,
        verb="judged",
        by=by,
        at=at,
        before=before,
        after={"verdict": verdict} | ({"proposed": proposed} if proposed else {}),
        note=reason,
    )
    return row


@transaction.atomic
def void_batch(*, batch: Batch, void: bool, by: Person, at: dt.datetime) -> Batch:
    """Take a batch out of every sum, or put it back; nothing is deleted."""
    if batch.void == void:
        raise InputError(f"{batch} is {'void' if void else 'valid'} already")
    if void:
        Batch.objects.select_for_update().get(pk=batch.pk)
        _check_spent(batch, 0)
    batch.void = void
    batch.save(update_fields=["void"])
    history.record(batch, verb="voided" if void else "made valid again", by=by, at=at)
    return batch


def _check_spent(batch: Batch, made_g: int) -> None:
    spent_g = -sum(batch.roasted_entries.values_list("mass_g", flat=True))
    if spent_g > made_g:
        raise InputError(
            f"{spent_g / 1000:.3f} kg of {batch} are used already; take them back where they were "
            "used first"
        )


def _check_first_use(batch: Batch) -> None:
    first = batch.roasted_entries.order_by("on").values_list("on", flat=True).first()
    if first is not None and first < timezone.localtime(batch.roasted_at).date():
        raise InputError(
            f"{batch} was used on {day_text(first)} already; it cannot be roasted after that"
        )


@transaction.atomic
def add_machine(*, machine: Machine, by: Person, at: dt.datetime) -> Machine:
    """Save a new machine."""
    machine.full_clean()
    machine.save()
    after = history.snapshot(machine, MACHINE_FIELDS)
    history.record(machine, verb="added", by=by, at=at, after=after)
    return machine


@transaction.atomic
def change_machine(*, machine: Machine, revision: int, by: Person, at: dt.datetime) -> Machine:
    """Save a machine's changed fields, unless somebody else saved it meanwhile.

    Raises
    ------
    StaleError
        When the machine's revision is no longer ``revision``.
    """
    before = history.snapshot(Machine.objects.get(pk=machine.pk), MACHINE_FIELDS)
    take_revision(Machine, machine.pk, revision)
    machine.full_clean()
    machine.save(update_fields=MACHINE_FIELDS)
    after = history.snapshot(machine, MACHINE_FIELDS)
    history.record(machine, verb="changed", by=by, at=at, before=before, after=after)
    return machine
