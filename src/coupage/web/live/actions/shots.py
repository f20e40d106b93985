"""Writes of how espresso and milk rounds were made."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

from django.db import transaction

from coupage.errors import InputError
from coupage.web.cuppings.actions.setup import locked
from coupage.web.cuppings.models import Cup, Cupping
from coupage.web.live.models import Shot
from coupage.web.people import history
from coupage.web.people.models import Person

__all__ = ["write_shots"]

_FIELDS = ("dose_mg", "drink_mg", "seconds", "tds_hundredths", "milk_g")


@transaction.atomic
def write_shots(
    *, cupping: Cupping, shots: Mapping[Cup, Shot | None], by: Person, at: dt.datetime
) -> int:
    """Write down how the drinks in some cups were made; None takes it back.

    Returns how many cups changed.

    Raises
    ------
    InputError
        When the table is void, or a cup stands on another one.
    """
    cupping = locked(cupping.pk)
    there = {shot.cup_id: shot for shot in Shot.objects.filter(cup__cupping=cupping)}
    changed = 0
    for cup, shot in shots.items():
        if cup.cupping_id != cupping.pk:
            raise InputError(f"cup {cup} stands on another table")
        kept = there.get(cup.pk)
        before = history.snapshot(kept, _FIELDS) if kept else {}
        if shot is None:
            if kept is None:
                continue
            kept.delete()
            after = {}
        else:
            row = kept or Shot(cup=cup)
            for name in _FIELDS:
                setattr(row, name, getattr(shot, name))
            row.full_clean()
            after = history.snapshot(row, _FIELDS)
            if after == before:
                continue
            row.save()
        changed += 1
        history.record(
            cupping, verb=f"wrote down shot {cup.code}", by=by, at=at, before=before, after=after
        )
    return changed
