"""Writes that set a table up: what is asked, what stands on it, who sits at it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np
from django.db import transaction
from django.db.models import Max

from coupage.errors import InputError
from coupage.table import blind_codes
from coupage.web.common.revisions import take_revision
from coupage.web.cuppings.actions.orders import deal_order
from coupage.web.cuppings.models import (
    Attribute,
    Cup,
    Cupping,
    CuppingAttribute,
    CuppingPass,
    Sample,
    Seat,
    Serving,
    Taster,
)
from coupage.web.people import history
from coupage.web.people.models import Person

__all__ = [
    "MOST_CUPS",
    "add_cupping",
    "add_seat",
    "change_cupping",
    "change_planned",
    "fresh_codes",
    "pour_sample",
    "remove_sample",
    "remove_seat",
    "void_cupping",
]

MOST_CUPS = 60
CUPPING_FIELDS = ("name", "held_at", "protocol", "note")
_CANDIDATES = 120


# --- the table itself ----------------------------------------------------------------------------


@transaction.atomic
def add_cupping(
    *,
    cupping: Cupping,
    passes: Sequence[str],
    attributes: Sequence[Attribute],
    by: Person,
    at: dt.datetime,
) -> Cupping:
    """Save a new table with its rounds and what is rated in them."""
    cupping.host, cupping.state = by, Cupping.State.PLANNED
    cupping.full_clean()
    cupping.save()
    _write_asked(cupping, passes, attributes)
    after = _now(cupping)
    history.record(cupping, verb="set up", by=by, at=at, after=after)
    return cupping


@transaction.atomic
def change_planned(
    *,
    cupping: Cupping,
    passes: Sequence[str],
    attributes: Sequence[Attribute],
    revision: int,
    by: Person,
    at: dt.datetime,
) -> Cupping:
    """Change everything about a table that is still being set up.

    Raises
    ------
    StaleError
        When somebody else changed the table meanwhile.
    InputError
        When it is under way already.
    """
    there = locked(cupping.pk, Cupping.State.PLANNED)
    before = _now(there)
    take_revision(Cupping, cupping.pk, revision)
    cupping.full_clean()
    cupping.save(update_fields=CUPPING_FIELDS)
    cupping.rounds.all().delete()
    cupping.asked.all().delete()
    _write_asked(cupping, passes, attributes)
    history.record(cupping, verb="changed", by=by, at=at, before=before, after=_now(cupping))
    return cupping


@transaction.atomic
def change_cupping(*, cupping: Cupping, revision: int, by: Person, at: dt.datetime) -> Cupping:
    """Correct the name, the time, the protocol or the note of a table in any state.

    Raises
    ------
    StaleError
        When somebody else changed the table meanwhile.
    """
    before = history.snapshot(Cupping.objects.get(pk=cupping.pk), CUPPING_FIELDS)
    take_revision(Cupping, cupping.pk, revision)
    cupping.full_clean()
    cupping.save(update_fields=CUPPING_FIELDS)
    after = history.snapshot(cupping, CUPPING_FIELDS)
    history.record(cupping, verb="changed", by=by, at=at, before=before, after=after)
    return cupping


@transaction.atomic
def void_cupping(*, cupping: Cupping, void: bool, by: Person, at: dt.datetime) -> Cupping:
    """Take a table out of every belief, or put it back; nothing is deleted."""
    there = Cupping.objects.select_for_update().get(pk=cupping.pk)
    if there.void == void:
        raise InputError(f"{there} is {'void' if void else 'valid'} already")
    there.void = void
    there.save(update_fields=["void"])
    history.record(there, verb="voided" if void else "made valid again", by=by, at=at)
    return there


def locked(pk: int, *states: str) -> Cupping:
    """Return a table that nobody else can change until this transaction ends.

    Raises
    ------
    InputError
        When it is void or in none of the states.
    """
    cupping = Cupping.objects.select_for_update().get(pk=pk)
    if cupping.void:
        raise InputError(f"{cupping} is void; make it valid again first")
    if states and cupping.state not in states:
        raise InputError(f"{cupping} is {cupping.get_state_display()}; {_WAY_ON[cupping.state]}")
    return cupping


_WAY_ON = {
    Cupping.State.PLANNED.value: "open it first",
    Cupping.State.OPEN.value: "this can only be changed while a table is being set up",
    Cupping.State.REVEALED.value: "reopen it with a reason to change what is on it",
}


def _write_asked(cupping: Cupping, passes: Sequence[str], attributes: Sequence[Attribute]) -> None:
    if not passes or not attributes:
        raise InputError("a table needs at least one pass and one attribute that is rated")
    for order, name in enumerate(passes, start=1):
        round_ = CuppingPass(cupping=cupping, order=order, name=name)
        round_.full_clean()
        round_.save()
    CuppingAttribute.objects.bulk_create(
        CuppingAttribute(cupping=cupping, attribute=attribute, order=order)
        for order, attribute in enumerate(attributes, start=1)
    )


def _now(cupping: Cupping) -> dict[str, object]:
    return {
        **history.snapshot(cupping, CUPPING_FIELDS),
        "passes": ", ".join(cupping.rounds.values_list("name", flat=True)),
        "attributes": ", ".join(cupping.asked.values_list("attribute__name", flat=True)),
    }


# --- samples and cups ----------------------------------------------------------------------------


@transaction.atomic
def pour_sample(
    *, cupping: Cupping, sample: Sample, cups: int, by: Person, at: dt.datetime
) -> list[Cup]:
    """Put a sample on the table in that many cups, or change how many there are.

    Cups that stay keep their codes; new ones get codes that are easy to tell from them.

    Raises
    ------
    InputError
        When the table is under way, the sample does not add up, or the table would be too large.
    """
    cupping = locked(cupping.pk, Cupping.State.PLANNED)
    if not sample.sealed:
        raise InputError(f"the shares of {sample} do not add up to 100 % yet")
    if cups < 1:
        raise InputError(f"cups: {cups} came; pour at least 1, or take the sample off")
    there = list(cupping.cups.filter(sample=sample).order_by("number"))
    others = cupping.cups.exclude(sample=sample).count()
    if others + cups > MOST_CUPS:
        raise InputError(
            f"{others + cups} cups are more than a table can take ({MOST_CUPS}); split it in two"
        )
    if cups == len(there):
        return there
    Cup.objects.filter(pk__in=[cup.pk for cup in there[cups:]]).delete()
    missing = range(len(there) + 1, cups + 1)
    codes = fresh_codes(len(missing), list(cupping.cups.values_list("code", flat=True)))
    Cup.objects.bulk_create(
        Cup(cupping=cupping, sample=sample, number=number, code=code)
        for number, code in zip(missing, codes, strict=True)
    )
    Serving.objects.filter(seat__cupping=cupping).delete()
    history.record(
        cupping,
        verb="poured",
        by=by,
        at=at,
        before={str(sample): len(there)},
        after={str(sample): cups},
    )
    return list(cupping.cups.filter(sample=sample).order_by("number"))


@transaction.atomic
def remove_sample(*, cupping: Cupping, sample: Sample, by: Person, at: dt.datetime) -> None:
    """Take a sample off a table that is being set up; the sample itself stays."""
    cupping = locked(cupping.pk, Cupping.State.PLANNED)
    taken, _ = Cup.objects.filter(cupping=cupping, sample=sample).delete()
    if not taken:
        raise InputError(f"{sample} does not stand on {cupping}")
    Serving.objects.filter(seat__cupping=cupping).delete()
    history.record(cupping, verb="took off the table", by=by, at=at, note=str(sample))


def fresh_codes(n: int, taken: Sequence[str]) -> list[str]:
    """Draw blind codes that are easy to tell from each other and from those in use.

    An empty table gets the best set there is. Beside codes that must stay, each new one is chosen
    among many so that it differs in as many places, and in its digits, from all before it.
    """
    if not taken:
        return blind_codes(n)
    rng = np.random.default_rng()
    found: list[str] = []
    for _ in range(n):
        near = [*taken, *found]
        drawn = blind_codes(_CANDIDATES, rng, avoid=near)
        found.append(max(drawn, key=lambda code: min(_apart(code, other) for other in near)))
    return found


def _apart(a: str, b: str) -> int:
    places = sum(x != y for x, y in zip(a, b, strict=False))
    return 4 * (set(a) != set(b)) + 2 * places + (a[0] != b[0])


# --- seats ---------------------------------------------------------------------------------------


@transaction.atomic
def add_seat(*, cupping: Cupping, taster: Taster, by: Person | None, at: dt.datetime) -> Seat:
    """Give a taster a seat; at a table that is under way they get an order at once.

    Raises
    ------
    InputError
        When the table is revealed, or the taster sits there already.
    """
    cupping = locked(cupping.pk, Cupping.State.PLANNED, Cupping.State.OPEN)
    if cupping.seats.filter(taster=taster).exists():
        raise InputError(f"{taster} sits at this table already")
    newest: int = cupping.seats.aggregate(newest=Max("order"))["newest"] or 0
    seat = Seat.objects.create(cupping=cupping, taster=taster, order=newest + 1)
    if cupping.state == Cupping.State.OPEN:
        deal_order(seat)
    history.record(cupping, verb="gave a seat to", by=by, at=at, note=str(taster))
    return seat


@transaction.atomic
def remove_seat(*, seat: Seat, by: Person, at: dt.datetime) -> None:
    """Take a seat away that holds no rating and no word.

    Raises
    ------
    InputError
        When it holds some, or the table is revealed.
    """
    cupping = locked(seat.cupping_id, Cupping.State.PLANNED, Cupping.State.OPEN)
    if seat.ratings.exists() or seat.words.exists():
        raise InputError(f"{seat.taster} has tasted already; what was rated here stays")
    history.record(cupping, verb="took the seat of", by=by, at=at, note=str(seat.taster))
    seat.delete()
    if cupping.state == Cupping.State.PLANNED:
        Serving.objects.filter(seat__cupping=cupping).delete()
