"""Writes to the ledger of roasted coffee. Lines are only ever added; a mistake gets a second line.

The row of the batch is the lock: two people cannot take the same kilogram. The database keeps the
same rules by itself (``apps.py``), for whoever does not come this way.
"""

from __future__ import annotations

import datetime as dt

from django.db import transaction
from django.utils import timezone

from coupage.errors import InputError
from coupage.units import MassUnit, show_mass
from coupage.web.batches.models import Batch, RoastedEntry, Verdict
from coupage.web.batches.queries import stocked
from coupage.web.common.dates import day_text
from coupage.web.people import history
from coupage.web.people.models import Person

__all__ = ["enter_roasted", "move_roasted"]


@transaction.atomic
def enter_roasted(
    *,
    batch: Batch,
    kind: str,
    mass_g: int,
    on: dt.date,
    by: Person,
    at: dt.datetime,
    reason: str = "",
) -> RoastedEntry:
    """Add a line that a person typed: pulled for the table, thrown away, corrected after a count.

    Raises
    ------
    InputError
        As :func:`move_roasted`; also when a line gives no reason where one is due, or is there
        already, as when a button is pressed twice.
    """
    Batch.objects.select_for_update().get(pk=batch.pk)
    if kind in {RoastedEntry.Kind.WASTED, RoastedEntry.Kind.COUNT} and not reason:
        raise InputError("say why; whoever counts the bins next will want to know")
    same = {"kind": kind, "mass_g": mass_g, "on": on, "reason": reason}
    if batch.roasted_entries.filter(**same).exists():
        raise InputError(
            "this very line is in the ledger already; if it happened twice, say so in the reason"
        )
    entry = move_roasted(batch=batch, by=by, at=at, **same)  # type: ignore[arg-type]
    history.record(
        batch,
        verb=f"entered roasted stock: {entry.get_kind_display().lower()}",
        by=by,
        at=at,
        note=reason,
        after={"mass_g": mass_g, "on": on.isoformat()},
    )
    return entry


@transaction.atomic
def move_roasted(
    *,
    batch: Batch,
    kind: str,
    mass_g: int,
    on: dt.date,
    by: Person | None,
    at: dt.datetime,
    reason: str = "",
) -> RoastedEntry:
    """Add a line as part of a larger deed, which writes the history itself.

    Raises
    ------
    InputError
        When the batch is void, not weighed or on hold, the date lies before its roast, or not so
        much of it is on hand at that date or a later one.
    """
    batch = Batch.objects.select_for_update().get(pk=batch.pk)
    if batch.void or batch.roasted_g is None:
        raise InputError(f"{batch} is {'void' if batch.void else 'not weighed yet'}; take another")
    if kind == RoastedEntry.Kind.BLENDED and batch.verdict == Verdict.HOLD:
        raise InputError(f"{batch} is on hold; take another batch, or lift the hold first")
    roasted = timezone.localtime(batch.roasted_at).date()
    if on < roasted:
        raise InputError(
            f"{batch} was roasted on {day_text(roasted)}; give that day or a later one"
        )
    left_g = _least_from(batch, on)
    if mass_g < 0 and left_g + mass_g < 0:
        unit: MassUnit = by.mass_unit if by else "kg"  # type: ignore[assignment]
        raise InputError(
            f"only {show_mass(left_g, unit, 3)} of {batch} are on hand on {day_text(on)}; "
            "take less, or count the bin and correct the ledger first"
        )
    entry = RoastedEntry(batch=batch, kind=kind, mass_g=mass_g, on=on, at=at, by=by, reason=reason)
    entry.full_clean()
    entry.save()
    return entry


def _least_from(batch: Batch, on: dt.date) -> int:
    """Return the least that is on hand from a day on: a line written late must not take twice."""
    least = stocked(on).get(pk=batch.pk).on_hand_g
    running = least
    for mass_g in batch.roasted_entries.filter(on__gt=on).values_list("mass_g", flat=True):
        running += mass_g
        least = min(least, running)
    return least
