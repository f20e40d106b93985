"""Writes at the packing bench: bags packed, taken back, opened, thrown away, counted."""

from __future__ import annotations

import datetime as dt

from django.db import transaction

from coupage.errors import InputError
from coupage.web.people import history
from coupage.web.people.models import Person
from coupage.web.production.actions.ledgers import (
    locked_packed,
    locked_run,
    move_bags,
    move_blended,
    open_run,
)
from coupage.web.production.models import BagEntry, BlendedEntry, Pack, Packed, Run

__all__ = ["enter_bags", "pack_bags"]

_BY_HAND = {
    BagEntry.Kind.UNPACKED,
    BagEntry.Kind.OPENED,
    BagEntry.Kind.WASTED,
    BagEntry.Kind.COUNT,
}


@transaction.atomic
def pack_bags(
    *, run: Run, pack: Pack, bags: int, on: dt.date, by: Person, at: dt.datetime
) -> Packed:
    """Pack loose blend of a run into bags; one bag counts as its nominal weight.

    Raises
    ------
    InputError
        When the run is not under way, the size is of another blend, or not so much is loose.
    """
    run = open_run(run)
    if pack.blend_id != run.recipe.blend_id:
        raise InputError(f"{pack} is a size of another blend than {run.recipe.blend}")
    if bags <= 0:
        raise InputError("give how many bags were packed, at least 1")
    packed, _ = Packed.objects.get_or_create(run=run, pack=pack)
    packed = locked_packed(packed)
    move_blended(
        run=run,
        kind=BlendedEntry.Kind.PACKED,
        mass_g=-bags * pack.bag_g,
        on=on,
        by=by,
        at=at,
        reason=f"{bags} × {pack.size}",
    )
    move_bags(packed=packed, kind=BagEntry.Kind.PACKED, bags=bags, on=on, by=by, at=at)
    history.record(run, verb=f"packed {bags} × {pack.size} of", by=by, at=at)
    return packed


@transaction.atomic
def enter_bags(
    *,
    packed: Packed,
    kind: str,
    bags: int,
    on: dt.date,
    by: Person,
    at: dt.datetime,
    reason: str = "",
) -> BagEntry:
    """Take a packing back, open bags (their coffee is loose again), throw away, or count.

    ``bags`` is how many it concerns; for a count it is the correction, with its sign.

    Raises
    ------
    InputError
        When a reason is due and missing, the run of a packing is not under way, or not so many
        bags are on hand.
    """
    if kind not in _BY_HAND:
        raise InputError(f"kind: {kind!r} is not one of {', '.join(sorted(_BY_HAND))}")
    if bags == 0 or (bags < 0 and kind != BagEntry.Kind.COUNT):
        raise InputError("give how many bags, at least 1")
    if not reason and kind != BagEntry.Kind.UNPACKED:
        raise InputError("say why; whoever counts the shelf next will want to know")
    run = open_run(packed.run) if kind == BagEntry.Kind.UNPACKED else locked_run(packed.run)
    packed = locked_packed(packed)
    moved = bags if kind == BagEntry.Kind.COUNT else -bags
    entry = move_bags(packed=packed, kind=kind, bags=moved, on=on, by=by, at=at, reason=reason)
    if kind in {BagEntry.Kind.UNPACKED, BagEntry.Kind.OPENED}:
        move_blended(
            run=run, kind=kind, mass_g=bags * packed.pack.bag_g, on=on, by=by, at=at, reason=reason
        )
    said = entry.get_kind_display().lower()
    history.record(
        run, verb=f"{said}: {moved:+d} × {packed.pack.size} of", by=by, at=at, note=reason
    )
    return entry
