"""Reads about batches and machines."""

from __future__ import annotations

from django.db.models import FloatField, QuerySet
from django.db.models.functions import Cast

from coupage.web.batches.models import Batch, Machine, Verdict

__all__ = ["batches", "machines", "next_number", "waiting"]


def batches() -> QuerySet[Batch]:
    """Return all batches with what they were roasted from, by and on, and ``loss_pct``."""
    out, green = Cast("roasted_g", FloatField()), Cast("green_g", FloatField())
    return Batch.objects.select_related(
        "approach_version__approach__lot", "machine", "operator"
    ).annotate(loss_pct=100.0 * (1.0 - out / green))


def waiting() -> QuerySet[Batch]:
    """Return batches that nobody has judged yet, oldest first."""
    return batches().filter(verdict=Verdict.WAITING, void=False).order_by("roasted_at", "id")


def machines() -> QuerySet[Machine]:
    """Return machines in use."""
    return Machine.objects.filter(archived=False)


def next_number() -> str:
    """Return the number after that of the newest batch: ``R-118`` gives ``R-119``.

    A roastery's own pattern is kept: only the digits at the end count up. Empty where the newest
    number does not end in digits.
    """
    newest = Batch.objects.order_by("-roasted_at", "-id").values_list("number", flat=True).first()
    if newest is None:
        return "1"
    stem = newest.rstrip("0123456789")
    digits = newest[len(stem) :]
    if not digits:
        return ""
    number = int(digits) + 1
    while Batch.objects.filter(number=f"{stem}{number:0{len(digits)}d}").exists():
        number += 1
    return f"{stem}{number:0{len(digits)}d}"
