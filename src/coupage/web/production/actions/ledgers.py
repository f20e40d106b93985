"""Lines of the two ledgers of production, written as parts of larger deeds.

The database refuses whatever would leave less than nothing; here the same is said in a sentence.
"""

from __future__ import annotations

import datetime as dt

from coupage.errors import InputError
from coupage.units import MassUnit, show_mass
from coupage.web.batches.models import RoastedEntry
from coupage.web.common.dates import day_text
from coupage.web.people.models import Person
from coupage.web.production.models import BagEntry, BlendedEntry, DispatchLine, Packed, Run, RunPart

__all__ = ["locked_packed", "locked_run", "move_bags", "move_blended", "open_run"]


def locked_run(run: Run) -> Run:
    """Return a run, held until the transaction ends."""
    return (
        Run.objects.select_for_update(of=("self",)).select_related("recipe__blend").get(pk=run.pk)
    )


def open_run(run: Run) -> Run:
    """Return a run that is under way, held until the transaction ends."""
    run = locked_run(run)
    if run.state != Run.State.OPEN:
        raise InputError(f"{run} is {run.get_state_display()}; open it again first")
    return run


def locked_packed(packed: Packed) -> Packed:
    """Return bags, held until the transaction ends."""
    rows = Packed.objects.select_for_update(of=("self",))
    return rows.select_related("run__recipe__blend", "pack__blend").get(pk=packed.pk)


def move_blended(
    *,
    run: Run,
    kind: str,
    mass_g: int,
    on: dt.date,
    by: Person | None,
    at: dt.datetime,
    reason: str = "",
    part: RunPart | None = None,
    lift: int | None = None,
    roasted_entry: RoastedEntry | None = None,
) -> BlendedEntry:
    """Add a line to the ledger of a run whose row is held already.

    Raises
    ------
    InputError
        When the date lies before the run, or not so much is on hand at that date or a later one.
    """
    _not_before(run, on)
    lines = list(run.entries.values_list("on", "mass_g"))
    left_g = _least(lines, on)
    if mass_g < 0 and left_g + mass_g < 0:
        unit: MassUnit = by.mass_unit if by else "kg"  # type: ignore[assignment]
        raise InputError(
            f"only {show_mass(left_g, unit, 3)} of {run.lot_code} are loose on {day_text(on)}; "
            "weigh first, or take less"
        )
    entry = BlendedEntry(
        run=run,
        kind=kind,
        mass_g=mass_g,
        on=on,
        at=at,
        by=by,
        reason=reason,
        part=part,
        lift=lift,
        roasted_entry=roasted_entry,
    )
    entry.clean_fields()
    entry.save()
    return entry


def move_bags(
    *,
    packed: Packed,
    kind: str,
    bags: int,
    on: dt.date,
    by: Person | None,
    at: dt.datetime,
    reason: str = "",
    line: DispatchLine | None = None,
) -> BagEntry:
    """Add a line to the ledger of bags whose row is held already.

    Raises
    ------
    InputError
        When the date lies before the run, or not so many are on hand at that date or a later one.
    """
    _not_before(packed.run, on)
    left = _least(list(packed.entries.values_list("on", "bags")), on)
    if bags < 0 and left + bags < 0:
        raise InputError(
            f"only {left} bags of {packed} are on hand on {day_text(on)}; take fewer, or count "
            "them and correct the ledger first"
        )
    entry = BagEntry(
        packed=packed, kind=kind, bags=bags, on=on, at=at, by=by, reason=reason, line=line
    )
    entry.clean_fields()
    entry.save()
    return entry


def _not_before(run: Run, on: dt.date) -> None:
    if on < run.on:
        raise InputError(f"{run} began on {day_text(run.on)}; give that day or a later one")


def _least(lines: list[tuple[dt.date, int]], on: dt.date) -> int:
    """Return the least that is on hand from a day on."""
    least = running = sum(amount for day, amount in lines if day <= on)
    for day in sorted({day for day, _ in lines if day > on}):
        running += sum(amount for other, amount in lines if other == day)
        least = min(least, running)
    return least
