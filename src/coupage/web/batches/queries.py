"""Reads about batches and machines."""

from __future__ import annotations

import datetime as dt
import re
from string import ascii_lowercase
from typing import TYPE_CHECKING, TypedDict

from django.db.models import (
    BigIntegerField,
    Case,
    F,
    FloatField,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Sum,
    When,
)
from django.db.models.functions import Cast, Coalesce
from django.utils import timezone

from coupage.web.batches.models import Batch, Machine, PlannedBatch, RoastedEntry, Verdict

if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations

    StockedBatch = WithAnnotations[Batch, "RoastedSums"]

__all__ = [
    "LONGEST_ROAST",
    "batches",
    "in_the_drum",
    "machines",
    "next_number",
    "number_on",
    "planned",
    "roasted_on_hand",
    "stocked",
    "to_weigh",
    "waiting",
]


# A charge that was never dropped is not in the drum for ever.
LONGEST_ROAST = dt.timedelta(hours=2)


class RoastedSums(TypedDict):
    """What :func:`stocked` adds to a batch, in grams."""

    made_g: int
    on_hand_g: int


def batches() -> QuerySet[Batch]:
    """Return all batches with what they were roasted from, by and on, and ``loss_pct``."""
    out, green = Cast("roasted_g", FloatField()), Cast("green_g", FloatField())
    return Batch.objects.select_related(
        "approach_version__approach__lot", "machine", "operator"
    ).annotate(loss_pct=100.0 * (1.0 - out / green))


def stocked(on: dt.date | None = None) -> QuerySet[StockedBatch]:
    """Return all batches with ``made_g`` and ``on_hand_g`` of roasted coffee, oldest first.

    Parameters
    ----------
    on
        At the end of which day, by the clock of whoever asks; left out, after every line there is.
    """
    ledger = RoastedEntry.objects.filter(batch=OuterRef("pk"))
    out = Q(void=True) | Q(roasted_g__isnull=True)
    if on is not None:
        ledger = ledger.filter(on__lte=on)
        out |= Q(roasted_at__date__gt=on)
    spent = ledger.order_by().values("batch").annotate(total=Sum("mass_g")).values("total")
    whole = BigIntegerField()
    return (
        Batch.objects.select_related("approach_version__approach__lot")
        .annotate(
            made_g=Case(When(out, then=0), default=F("roasted_g"), output_field=whole),
            spent_g=Coalesce(Subquery(spent), 0, output_field=whole),
        )
        .annotate(on_hand_g=F("made_g") + F("spent_g"))
        .order_by("roasted_at", "id")
    )


def roasted_on_hand(on: dt.date | None = None) -> dict[int, int]:
    """Return grams of roasted coffee on hand by approach, held batches left out.

    What is already weighed into a blend is not here; it stands in the ledger of its run.
    """
    found: dict[int, int] = {}
    usable = stocked(on).filter(on_hand_g__gt=0).exclude(verdict=Verdict.HOLD)
    for batch in usable:
        approach = batch.approach_version.approach_id
        found[approach] = found.get(approach, 0) + batch.on_hand_g
    return found


def waiting() -> QuerySet[Batch]:
    """Return batches that nobody has judged yet, oldest first."""
    return batches().filter(verdict=Verdict.WAITING, void=False).order_by("roasted_at", "id")


def in_the_drum(machine: Machine, at: dt.datetime) -> QuerySet[Batch]:
    """Return what is being roasted on a machine: charged, not dropped."""
    return (
        batches()
        .filter(machine=machine, void=False, seconds__isnull=True, roasted_g__isnull=True)
        .filter(roasted_at__gt=at - LONGEST_ROAST)
        .order_by("roasted_at", "id")
    )


def to_weigh(machine: Machine, at: dt.datetime) -> QuerySet[Batch]:
    """Return batches of the last days that came out of a machine and are not weighed."""
    return (
        batches()
        .filter(machine=machine, void=False, roasted_g__isnull=True)
        .filter(roasted_at__gt=at - dt.timedelta(days=3))
        .exclude(pk__in=in_the_drum(machine, at).values("pk"))
        .order_by("roasted_at", "id")
    )


def planned(machine: Machine, on: dt.date) -> QuerySet[PlannedBatch]:
    """Return what is still to be roasted on a machine that day, in order."""
    return PlannedBatch.objects.filter(
        machine=machine, on=on, batch__isnull=True, dropped=False
    ).select_related("approach__lot", "machine")


def machines() -> QuerySet[Machine]:
    """Return machines in use."""
    return Machine.objects.filter(archived=False)


def next_number() -> str:
    """Return the number after that of the newest batch: ``R-118`` gives ``R-119``.

    A roastery's own pattern is kept: only the digits at the end count up. Numbers of a day and a
    letter, such as ``260309b``, begin each day with ``a``. Empty where the newest number is of
    neither kind.
    """
    newest = Batch.objects.order_by("-roasted_at", "-id").values_list("number", flat=True).first()
    if newest is None:
        return "1"
    if re.fullmatch(r"[0-9]{6}[a-z]", newest):
        day = f"{timezone.localdate():%y%m%d}"
        taken = set(Batch.objects.filter(number__startswith=day).values_list("number", flat=True))
        free = (f"{day}{letter}" for letter in ascii_lowercase)
        return next((number for number in free if number not in taken), "")
    stem = newest.rstrip("0123456789")
    digits = newest[len(stem) :]
    if not digits:
        return ""
    number = int(digits) + 1
    while Batch.objects.filter(number=f"{stem}{number:0{len(digits)}d}").exists():
        number += 1
    return f"{stem}{number:0{len(digits)}d}"


def number_on(day: dt.date) -> str:
    """Return a number for a batch that is charged on a day: there always is one.

    As :func:`next_number`; where that tells nothing, the day and a count, such as ``260314-1``.
    """
    counted = next_number()
    if counted:
        return counted
    stem = f"{day:%y%m%d}-"
    taken = set(Batch.objects.filter(number__startswith=stem).values_list("number", flat=True))
    return next(f"{stem}{n}" for n in range(1, len(taken) + 2) if f"{stem}{n}" not in taken)
