"""Writes about lots, their stock and their approaches, one transaction each."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db import transaction
from django.utils import timezone

from coupage.errors import InputError
from coupage.units import MassUnit, show_mass
from coupage.web.coffees import queries
from coupage.web.coffees.models import Approach, ApproachVersion, Lot, Reservation, StockEntry
from coupage.web.common.dates import day_text
from coupage.web.common.revisions import take_revision
from coupage.web.people import history
from coupage.web.people.models import Person

__all__ = [
    "add_approach",
    "add_approach_version",
    "add_lot",
    "change_lot",
    "day_purpose",
    "enter_stock",
    "move_promise",
    "reserve",
]

LOT_FIELDS = (
    "name",
    "origin",
    "region",
    "producer",
    "process",
    "species",
    "decaffeinated",
    "crop_year",
    "moisture_pct",
    "price_per_kg",
    "bag_g",
    "note",
    "archived",
)


@transaction.atomic
def add_lot(*, lot: Lot, received_g: int, on: dt.date, by: Person, at: dt.datetime) -> Lot:
    """Save a new lot, with its first receipt when some of it has arrived."""
    lot.full_clean()
    lot.save()
    history.record(lot, verb="added", by=by, at=at, after=history.snapshot(lot, LOT_FIELDS))
    if received_g:
        enter_stock(lot=lot, kind=StockEntry.Kind.RECEIPT, mass_g=received_g, on=on, by=by, at=at)
    return lot


@transaction.atomic
def change_lot(*, lot: Lot, revision: int, by: Person, at: dt.datetime) -> Lot:
    """Save a lot's changed fields, unless somebody else saved it meanwhile.

    Raises
    ------
    StaleError
        When the lot's revision is no longer ``revision``.
    """
    before = history.snapshot(Lot.objects.get(pk=lot.pk), LOT_FIELDS)
    take_revision(Lot, lot.pk, revision)
    lot.full_clean()
    lot.save(update_fields=LOT_FIELDS)
    after = history.snapshot(lot, LOT_FIELDS)
    history.record(lot, verb="changed", by=by, at=at, before=before, after=after)
    return lot


@transaction.atomic
def enter_stock(
    *,
    lot: Lot,
    kind: str,
    mass_g: int,
    on: dt.date,
    by: Person,
    at: dt.datetime,
    reason: str = "",
    bags: int | None = None,
    bag_g: int | None = None,
) -> StockEntry:
    """Add a line to a lot's ledger; a receipt may say in how many bags of what weight it came.

    Raises
    ------
    InputError
        When the lot's stock would fall below nothing, what is sold is promised to a plan, a
        correction gives no reason, or the very same line is there already, as when a button is
        pressed twice.
    """
    # The lot's row is the lock: two people cannot take the same kilogram.
    Lot.objects.select_for_update().get(pk=lot.pk)
    if kind in {StockEntry.Kind.COUNT, StockEntry.Kind.MOISTURE} and not reason:
        raise InputError("say why the stock is corrected")
    stocked = queries.lots().get(pk=lot.pk)
    on_hand_g, unit = stocked.on_hand_g, _unit(by)
    if mass_g < 0 and on_hand_g + mass_g < 0:
        raise InputError(
            f"only {show_mass(on_hand_g, unit)} of {lot.name} are on hand; "
            "correct the amount, or enter the missing receipt first"
        )
    if kind == StockEntry.Kind.SOLD and stocked.free_g + mass_g < 0:
        raise InputError(
            f"only {show_mass(max(stocked.free_g, 0), unit)} of {lot.name} are free; "
            f"{show_mass(stocked.promised_g, unit)} are promised to planned roasts; let go of "
            "those first"
        )
    same = {"kind": kind, "mass_g": mass_g, "on": on, "reason": reason}
    if lot.stock_entries.filter(**same).exists():
        raise InputError(
            "this very line is in the ledger already; if it happened twice, say so in the reason"
        )
    entry = StockEntry(lot=lot, by=by, bags=bags, bag_g=bag_g, **same)
    entry.full_clean()
    entry.save()
    history.record(
        lot,
        verb=f"entered stock: {entry.get_kind_display().lower()}",
        by=by,
        at=at,
        note=reason,
        after={"mass_g": mass_g, "on": on.isoformat()},
    )
    return entry


@transaction.atomic
def reserve(
    *, purpose: str, wanted_g: dict[int, int], on: dt.date, by: Person, at: dt.datetime
) -> list[Reservation]:
    """Promise green to a purpose: so much of each lot by its key, and nothing of any other.

    What was promised to it before is let go of as far as it is not wanted any more; only the
    differences are written. Of two people who want the last of a lot the second is refused.

    Raises
    ------
    InputError
        When more of a lot is wanted than is on hand and promised to nobody else.
    """
    before = queries.promised_g(purpose)
    keys = sorted({*before, *(lot for lot, mass_g in wanted_g.items() if mass_g)})
    # The lots' rows are the locks, taken in one order so that nobody waits in a circle.
    lots = {lot.pk: lot for lot in Lot.objects.select_for_update().filter(pk__in=keys)}
    before = queries.promised_g(purpose)
    stocked = {lot.pk: lot for lot in queries.lots().filter(pk__in=keys)}
    made = []
    for key in keys:
        more_g = wanted_g.get(key, 0) - before.get(key, 0)
        if more_g == 0:
            continue
        if more_g > max(stocked[key].free_g, 0):
            free_g = max(stocked[key].free_g, 0) + before.get(key, 0)
            raise InputError(
                f"{purpose} needs {show_mass(wanted_g[key], _unit(by))} of {lots[key].name}, "
                f"{show_mass(free_g, _unit(by))} are free; plan less of it, or enter a receipt"
            )
        line = Reservation(lot=lots[key], purpose=purpose, mass_g=more_g, on=on, by=by)
        line.full_clean()
        line.save()
        history.record(
            lots[key],
            verb=f"{'promised' if more_g > 0 else 'let go of'} green for {purpose}",
            by=by,
            at=at,
            after={"mass_g": more_g},
        )
        made.append(line)
    return made


def day_purpose(on: dt.date) -> str:
    """Name what a roast day's green is promised to."""
    return f"the roast day of {day_text(on)}"


@transaction.atomic
def move_promise(lot: Lot, purpose: str, mass_g: int, *, by: Person, at: dt.datetime) -> int:
    """Promise a little more, or let go (a negative mass), as far as there is something to.

    Part of a larger deed, which writes the history itself; gives the grams that were moved.
    """
    lot = Lot.objects.select_for_update().get(pk=lot.pk)
    stocked = queries.lots().get(pk=lot.pk)
    held = queries.promised_g(purpose).get(lot.pk, 0)
    moved = max(mass_g, -held) if mass_g < 0 else min(mass_g, max(stocked.free_g, 0))
    if moved:
        on = timezone.localdate(at)
        Reservation.objects.create(lot=lot, purpose=purpose, mass_g=moved, on=on, by=by)
    return moved


def _unit(person: Person) -> MassUnit:
    unit: MassUnit = person.mass_unit  # type: ignore[assignment]
    return unit


@transaction.atomic
def add_approach(
    *, lot: Lot, name: str, version: ApproachVersion, by: Person, at: dt.datetime
) -> Approach:
    """Add a way of roasting a lot, with the first version of its targets."""
    approach = Approach(lot=lot, name=name)
    approach.full_clean()
    approach.save()
    history.record(approach, verb="added", by=by, at=at)
    _save_version(approach, version, by, at)
    return approach


@transaction.atomic
def add_approach_version(
    *, approach: Approach, version: ApproachVersion, by: Person, at: dt.datetime
) -> ApproachVersion:
    """Give an approach new targets from a date on; batches keep the version they had."""
    return _save_version(approach, version, by, at)


def _save_version(
    approach: Approach, version: ApproachVersion, by: Person, at: dt.datetime
) -> ApproachVersion:
    newest = approach.versions.order_by("-number").first()
    version.pk, version.approach = None, approach
    version.number = newest.number + 1 if newest else 1
    version.full_clean()
    version.save()
    fields = [
        f.name for f in ApproachVersion._meta.concrete_fields if f.name not in {"id", "approach"}
    ]
    before: dict[str, Any] = history.snapshot(newest, fields) if newest else {}
    after = history.snapshot(version, fields)
    history.record(approach, verb="gave new targets to", by=by, at=at, before=before, after=after)
    return version
