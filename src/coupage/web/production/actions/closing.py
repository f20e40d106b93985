"""Writes that end a run: closed with its kilograms reconciled, held, voided; and opened again."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from django.db import transaction

from coupage.errors import InputError
from coupage.units import show_mass
from coupage.web.batches.models import RoastedEntry
from coupage.web.batches.roasted import move_roasted
from coupage.web.people import history
from coupage.web.people.models import Person
from coupage.web.production import queries
from coupage.web.production.actions.ledgers import (
    locked_packed,
    locked_run,
    move_bags,
    move_blended,
    open_run,
)
from coupage.web.production.models import BagEntry, BlendedEntry, Run

__all__ = ["close_run", "hold_runs", "release_runs", "reopen_run", "void_run"]


@transaction.atomic
def close_run(
    *,
    run: Run,
    lost_g: int,
    left_g: int,
    on: dt.date,
    by: Person,
    at: dt.datetime,
    reason: str = "",
) -> Run:
    """Close a run: what came in is packed, lost, left in the bin, or missing, and it says which.

    What is missing (or too much) is written down as a correction, so that the ledger shows what is
    really there.

    Raises
    ------
    InputError
        When the run is not under way, nothing was weighed, or more is missing than the rules allow
        and no reason is given.
    """
    run = open_run(run)
    sums = queries.runs().get(pk=run.pk)
    if sums.in_g == 0:
        raise InputError("nothing was weighed; void the run instead")
    if lost_g < 0 or left_g < 0:
        raise InputError("what was lost and what is left cannot be less than nothing")
    missing_g = sums.loose_g - lost_g - left_g
    allowed = sums.in_g * queries.rules().missing_ppm / 1_000_000
    if abs(missing_g) > allowed and not reason:
        word = "missing" if missing_g > 0 else "too much"
        raise InputError(
            f"{show_mass(abs(missing_g), 'kg', 3)} are {word}: count bags and bin again, or say in "
            "a sentence what happened"
        )
    if missing_g:
        kind, why = BlendedEntry.Kind.COUNT, reason or "at closing, within what may be missing"
        move_blended(run=run, kind=kind, mass_g=-missing_g, on=on, by=by, at=at, reason=why)
    if lost_g:
        kind, why = BlendedEntry.Kind.WASTED, reason or "spilt, swept or pulled for the table"
        move_blended(run=run, kind=kind, mass_g=-lost_g, on=on, by=by, at=at, reason=why)
    after = {
        "weighed in": show_mass(sums.in_g, "kg", 3),
        "packed": show_mass(sums.packed_g, "kg", 3),
        "lost": show_mass(lost_g, "kg", 3),
        "left over": show_mass(left_g, "kg", 3),
        "missing": show_mass(missing_g, "kg", 3),
    }
    return _state(run, Run.State.CLOSED, "closed", by, at, after=after, note=reason)


@transaction.atomic
def reopen_run(*, run: Run, by: Person, at: dt.datetime) -> Run:
    """Open a closed run again; its corrections stay, and the next closing adds to them."""
    run = locked_run(run)
    if run.state != Run.State.CLOSED:
        raise InputError(f"{run} is {run.get_state_display()}; only a closed run is opened again")
    return _state(run, Run.State.OPEN, "opened again", by, at)


@transaction.atomic
def void_run(*, run: Run, reason: str, on: dt.date, by: Person, at: dt.datetime) -> Run:
    """Undo a whole run: bags back into the bin, coffee back into its batches. Nothing is deleted.

    Raises
    ------
    InputError
        When no reason is given, bags have left, or some of it was lost or used already.
    """
    run = locked_run(run)
    if run.state == Run.State.VOID:
        raise InputError(f"{run} is void already")
    if not reason:
        raise InputError("say why the run is voided; it stays in the history beside your name")
    sums = queries.runs().get(pk=run.pk)
    rows = list(queries.packed().filter(run=run).order_by("pk"))
    if any(row.on_hand != row.made for row in rows):
        raise InputError(
            f"bags of {run} have left, or were opened or thrown away; hold the lot instead"
        )
    if sums.lost_g or sums.counted_g or sums.reused_g:
        raise InputError(
            f"some of {run} is lost, corrected or used in a later run; hold the lot instead"
        )
    for row in rows:
        if row.made:
            _unpack(row.pk, run, on, by, at, reason)
    for part in queries.parts().filter(run=run, weighed_g__gt=0).order_by("batch_id"):
        entry: RoastedEntry | None = None
        grams = part.weighed_g
        if part.batch is not None:
            kind = RoastedEntry.Kind.PUT_BACK
            entry = move_roasted(
                batch=part.batch, kind=kind, mass_g=grams, on=on, by=by, at=at, reason=run.lot_code
            )
        elif part.source is not None:
            used = BlendedEntry.Kind.PUT_BACK
            source = locked_run(part.source)
            move_blended(
                run=source, kind=used, mass_g=grams, on=on, by=by, at=at, reason=run.lot_code
            )
        move_blended(
            run=run,
            kind=BlendedEntry.Kind.TAKEN_OUT,
            mass_g=-grams,
            on=on,
            by=by,
            at=at,
            reason=reason,
            part=part,
            roasted_entry=entry,
        )
    return _state(run, Run.State.VOID, "voided", by, at, note=reason)


def _unpack(
    packed_pk: int, run: Run, on: dt.date, by: Person, at: dt.datetime, reason: str
) -> None:
    packed = locked_packed(run.packed.get(pk=packed_pk))
    made = sum(packed.entries.values_list("bags", flat=True))
    bag, loose = BagEntry.Kind.UNPACKED, BlendedEntry.Kind.UNPACKED
    move_bags(packed=packed, kind=bag, bags=-made, on=on, by=by, at=at, reason=reason)
    grams = made * packed.pack.bag_g
    move_blended(run=run, kind=loose, mass_g=grams, on=on, by=by, at=at, reason=reason)


def _state(
    run: Run,
    state: str,
    verb: str,
    by: Person,
    at: dt.datetime,
    *,
    after: dict[str, str] | None = None,
    note: str = "",
) -> Run:
    run.state = state
    run.save(update_fields=["state"])
    history.record(run, verb=verb, by=by, at=at, after=after, note=note)
    return run


@transaction.atomic
def hold_runs(*, runs: Iterable[Run], reason: str, by: Person, at: dt.datetime) -> list[Run]:
    """Stop lots: from now on nothing of them is sent, nor used in a later run.

    Lots that are held already are left as they are.

    Raises
    ------
    InputError
        When no reason is given, or none is left to hold.
    """
    if not reason:
        raise InputError("say why; whoever stands before the shelf must know")
    return _hold(runs, True, "put on hold", reason, by, at)


@transaction.atomic
def release_runs(*, runs: Iterable[Run], reason: str, by: Person, at: dt.datetime) -> list[Run]:
    """Let held lots go again.

    Raises
    ------
    InputError
        When no reason is given, or none of them is held.
    """
    if not reason:
        raise InputError("say why the hold is lifted; it stays in the history beside your name")
    return _hold(runs, False, "let go again", reason, by, at)


def _hold(
    runs: Iterable[Run], held: bool, verb: str, reason: str, by: Person, at: dt.datetime
) -> list[Run]:
    done = []
    for run in sorted(runs, key=lambda run: run.pk):
        run = locked_run(run)
        if run.held == held or run.state == Run.State.VOID:
            continue
        run.held = held
        run.save(update_fields=["held"])
        history.record(run, verb=verb, by=by, at=at, note=reason)
        done.append(run)
    if not done:
        raise InputError("that is so already; nothing was changed")
    return done
