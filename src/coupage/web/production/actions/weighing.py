"""Writes at the blender: begin a run, weigh a lift, take a weighing back, check the mixing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

from django.db import transaction
from django.utils import timezone

from coupage.errors import InputError
from coupage.units import show_mass
from coupage.web.batches.models import Batch, RoastedEntry, Verdict
from coupage.web.batches.queries import stocked
from coupage.web.batches.roasted import move_roasted
from coupage.web.blends.models import Recipe
from coupage.web.coffees.models import Approach
from coupage.web.people import history
from coupage.web.people.models import Person
from coupage.web.production.actions.ledgers import locked_run, move_blended, open_run
from coupage.web.production.lifts import Draw
from coupage.web.production.lot_code import lot_code
from coupage.web.production.models import BlendedEntry, MixingCheck, PackingRules, Run, RunPart
from coupage.web.production.queries import reserved_g

__all__ = ["begin_run", "check_mixing", "take_back_lift", "weigh_lift"]

Source = Batch | Run


@transaction.atomic
def begin_run(
    *,
    recipe: Recipe,
    draws: Sequence[Draw[Any, Source]],
    lifts: int,
    step_g: int,
    on: dt.date,
    by: Person,
    at: dt.datetime,
    note: str = "",
) -> Run:
    """Begin a run: give it its lot code and reserve what it will take. Nothing is taken yet.

    Raises
    ------
    InputError
        When nothing is to be weighed, a batch is on hold or was roasted after that day, or not so
        much of it is free.
    """
    if not draws:
        raise InputError("choose at least one batch to weigh from")
    rules = _locked_rules()
    planned: dict[Source, list[int]] = {}
    for draw in draws:
        planned.setdefault(draw.source, [0] * lifts)[draw.lift - 1] += draw.mass_g
    _check_free(planned, on)
    blend = recipe.blend
    roasted = [timezone.localtime(s.roasted_at).date() for s in planned if isinstance(s, Batch)]
    keeps = [s.best_before for s in planned if isinstance(s, Run)]
    until = [day + dt.timedelta(days=rules.best_before_days) for day in roasted]
    run = Run(
        recipe=recipe,
        lot_code=_next_code(rules, on, blend.name),
        on=on,
        best_before=min([*until, *keeps]),
        lifts=lifts,
        step_g=step_g,
        note=note,
        made_at=at,
        made_by=by,
    )
    run.full_clean()
    run.save()
    RunPart.objects.bulk_create(
        RunPart(
            run=run,
            place=place,
            batch=source if isinstance(source, Batch) else None,
            source=source if isinstance(source, Run) else None,
            per_lift_g=per_lift,
            planned_g=sum(per_lift),
        )
        for place, (source, per_lift) in enumerate(planned.items(), start=1)
    )
    after = {str(source): show_mass(sum(g), "kg", 3) for source, g in planned.items()}
    history.record(run, verb=f"began, {recipe},", by=by, at=at, after=after, note=note)
    return run


def _locked_rules() -> PackingRules:
    PackingRules.objects.get_or_create(only=True)
    return PackingRules.objects.select_for_update().get()


def _next_code(rules: PackingRules, on: dt.date, blend: str) -> str:
    """Return the first code of the day that is free. The rules are the lock."""
    run = Run.objects.filter(on=on).count() + 1
    while True:
        code = lot_code(rules.lot_pattern, on=on, run=run, blend=blend)
        if not Run.objects.filter(lot_code=code).exists():
            return code
        run += 1


def _check_free(planned: Mapping[Source, list[int]], on: dt.date) -> None:
    rests = sorted((s for s in planned if isinstance(s, Run)), key=lambda run: run.pk)
    for rest in rests:
        held = locked_run(rest)
        if held.held or held.state == Run.State.VOID:
            raise InputError(f"{held} is {'on hold' if held.held else 'void'}; leave its rest out")
    wanted = {s.pk: sum(per_lift) for s, per_lift in planned.items() if isinstance(s, Batch)}
    list(Batch.objects.select_for_update().filter(pk__in=list(wanted)).order_by("pk"))
    there = list(stocked().filter(pk__in=list(wanted)))
    waiting = reserved_g(there)
    for batch in there:
        if batch.verdict == Verdict.HOLD:
            raise InputError(f"{batch} is on hold; take another batch, or lift the hold first")
        if timezone.localtime(batch.roasted_at).date() > on:
            raise InputError(f"{batch} was roasted after that day; give a later one")
        free = batch.on_hand_g - waiting.get(batch.pk, 0)
        if wanted[batch.pk] > free:
            raise InputError(
                f"only {show_mass(max(free, 0), 'kg', 3)} of {batch} are free: "
                f"{show_mass(batch.on_hand_g, 'kg', 3)} on hand, the rest is planned for runs "
                "under way; plan again"
            )


@transaction.atomic
def weigh_lift(
    *,
    run: Run,
    lift: int,
    weights: Mapping[RunPart, int],
    on: dt.date,
    by: Person,
    at: dt.datetime,
) -> list[BlendedEntry]:
    """Record what the scale showed for one lift; now it leaves the batches.

    Raises
    ------
    InputError
        When the run is not under way, the lift is none of its, was weighed already, or a batch
        does not hold so much.
    """
    run = open_run(run)
    if not 1 <= lift <= run.lifts:
        raise InputError(f"lift {lift} is none of the {run.lifts} of {run}")
    if any(part.run_id != run.pk for part in weights):
        raise InputError(f"a part of another run cannot be weighed into {run}")
    if _weighed(run, lift):
        raise InputError(f"lift {lift} is weighed already; take that back to weigh it again")
    found = {part: g for part, g in weights.items() if g}
    if not found or min(found.values()) < 0:
        raise InputError("give the grams that the scale showed, above nothing")
    entries = [
        _move_part(run, part, lift, grams, on, by, at)
        for part, grams in sorted(found.items(), key=lambda item: _lock_order(item[0]))
    ]
    after = {str(part): show_mass(g, "kg", 3) for part, g in found.items()}
    history.record(run, verb=f"weighed lift {lift} of", by=by, at=at, after=after)
    return entries


def _lock_order(part: RunPart) -> tuple[int, int]:
    return (0, part.source_id) if part.source_id else (1, part.batch_id or 0)


def _weighed(run: Run, lift: int) -> dict[int, int]:
    """Return grams by part that count for a lift, what was taken back left out."""
    found: dict[int, int] = {}
    for part, grams in run.entries.filter(lift=lift).values_list("part_id", "mass_g"):
        found[part or 0] = found.get(part or 0, 0) + grams
    return {part: grams for part, grams in found.items() if grams}


def _move_part(
    run: Run, part: RunPart, lift: int, grams: int, on: dt.date, by: Person, at: dt.datetime
) -> BlendedEntry:
    """Move grams from a batch or a rest into a run; a negative mass moves them back."""
    back = grams < 0
    roasted: RoastedEntry | None = None
    if part.batch is not None:
        kind = RoastedEntry.Kind.PUT_BACK if back else RoastedEntry.Kind.BLENDED
        roasted = move_roasted(
            batch=part.batch, kind=kind, mass_g=-grams, on=on, by=by, at=at, reason=run.lot_code
        )
    elif part.source is not None:
        source = locked_run(part.source)
        if not back and (source.held or source.state == Run.State.VOID):
            raise InputError(f"{source} is on hold or void; leave its rest out")
        used = BlendedEntry.Kind.PUT_BACK if back else BlendedEntry.Kind.REUSED
        move_blended(run=source, kind=used, mass_g=-grams, on=on, by=by, at=at, reason=run.lot_code)
    return move_blended(
        run=run,
        kind=BlendedEntry.Kind.TAKEN_OUT if back else BlendedEntry.Kind.WEIGHED,
        mass_g=grams,
        on=on,
        by=by,
        at=at,
        part=part,
        lift=lift,
        roasted_entry=roasted,
    )


@transaction.atomic
def take_back_lift(*, run: Run, lift: int, on: dt.date, by: Person, at: dt.datetime) -> None:
    """Take the weighing of a lift back, as when a figure was typed wrong; it can be weighed again.

    Raises
    ------
    InputError
        When the run is not under way, the lift is not weighed, or its coffee is packed already.
    """
    run = open_run(run)
    counted = _weighed(run, lift)
    if not counted:
        raise InputError(f"lift {lift} is not weighed")
    parts = run.parts.select_related("batch", "source").in_bulk(list(counted))
    for part in sorted(parts.values(), key=_lock_order):
        _move_part(run, part, lift, -counted[part.pk], on, by, at)
    before = {str(part): show_mass(counted[pk], "kg", 3) for pk, part in parts.items()}
    history.record(run, verb=f"took back lift {lift} of", by=by, at=at, before=before)


@transaction.atomic
def check_mixing(
    *,
    run: Run,
    approach: Approach,
    sample_g: int,
    bean_mg: int,
    shares_ppm: Sequence[int],
    by: Person,
    at: dt.datetime,
) -> MixingCheck:
    """Record what samples of a run held of one component.

    Raises
    ------
    InputError
        When the run is void or the coffee is none of its.
    """
    run = locked_run(run)
    if run.state == Run.State.VOID:
        raise InputError(f"{run} is void; there is nothing to sample")
    if not run.recipe.shares.filter(approach=approach).exists():
        raise InputError(f"{approach} is no part of {run.recipe}")
    if run.recipe.shares.count() < 2:
        raise InputError(f"{run.recipe} is one coffee; there is nothing to mix")
    if len(shares_ppm) < 3:
        raise InputError("give at least 3 samples; two say nothing about a spread")
    check = MixingCheck(
        run=run,
        approach=approach,
        sample_g=sample_g,
        bean_mg=bean_mg,
        shares_ppm=list(shares_ppm),
        at=at,
        by=by,
    )
    check.clean_fields()
    check.save()
    history.record(run, verb="checked the mixing of", by=by, at=at)
    return check
