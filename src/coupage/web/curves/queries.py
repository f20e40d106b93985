"""Reads about curves."""

from __future__ import annotations

import re
from pathlib import PurePath

from django.db.models import QuerySet

from coupage.web.batches.models import Batch, Machine, Verdict
from coupage.web.coffees.models import Approach
from coupage.web.curves.models import FileColumns, Probe, ReferenceCurve, RoastCurve

__all__ = [
    "BAND_OF",
    "approved",
    "batch_of",
    "columns",
    "curves",
    "probe_of",
    "reference_for",
]

# Roasts that make the band: enough for its shape, few enough to follow the machine.
BAND_OF = 20


def curves() -> QuerySet[RoastCurve]:
    """Return all curves with their batches, without the readings themselves."""
    return RoastCurve.objects.defer("readings").select_related(
        "batch__approach_version__approach__lot", "batch__machine"
    )


def columns() -> QuerySet[FileColumns]:
    return FileColumns.objects.all()


def probe_of(machine: Machine | None) -> Probe:
    """Return how curves of a machine are looked at; the defaults where nobody has said."""
    if machine is None:
        return Probe()
    found = Probe.objects.filter(machine=machine).first()
    return found or Probe(machine=machine)


def reference_for(approach: Approach, machine: Machine | None) -> ReferenceCurve | None:
    """Return the chosen reference that holds now."""
    return (
        ReferenceCurve.objects.filter(
            approach=approach, machine=machine, ended_at__isnull=True, curve__void=False
        )
        .select_related("curve__batch", "by")
        .first()
    )


def approved(approach: Approach, machine: Machine | None, but: int) -> QuerySet[RoastCurve]:
    """Return the newest whole curves of released batches of an approach on a machine.

    ``but`` is the key of a batch that is left out: a roast is not held against itself.
    """
    return (
        RoastCurve.objects.filter(
            batch__approach_version__approach=approach,
            batch__machine=machine,
            batch__verdict=Verdict.RELEASE,
            batch__void=False,
            void=False,
            gap_s=0,
        )
        .exclude(batch=but)
        .order_by("-batch__roasted_at", "-id")[:BAND_OF]
    )


def batch_of(filename: str) -> list[Batch]:
    """Return the batches whose number stands in a file's name, the longest number first.

    ``R-118.csv``, ``large drum R-118 (2).xlsx`` and ``2026-03-01_R-118.csv`` all mean R-118.
    """
    stem = PurePath(filename).stem
    pieces = {stem, *re.split(r"[\s_.,()\[\]]+", stem), *re.split(r"[^0-9A-Za-z]+", stem)}
    pieces |= {piece.upper() for piece in pieces} | {piece.lower() for piece in pieces}
    found = list(
        Batch.objects.filter(number__in=pieces - {""}, void=False).select_related(
            "approach_version__approach__lot", "machine"
        )
    )
    longest = max((len(batch.number) for batch in found), default=0)
    return [batch for batch in found if len(batch.number) == longest]
