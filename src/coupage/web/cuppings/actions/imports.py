"""Writes that bring in whole tables of ratings and words from files."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction
from django.utils import timezone

from coupage.errors import InputError
from coupage.web.cuppings.actions.setup import fresh_codes, locked
from coupage.web.cuppings.models import (
    Attribute,
    Cup,
    Cupping,
    CuppingAttribute,
    CuppingPass,
    Protocol,
    Rating,
    Sample,
    Seat,
    Taster,
    Word,
)
from coupage.web.cuppings.names import folded
from coupage.web.people import history
from coupage.web.people.models import Person

__all__ = ["NewCup", "NewRating", "add_ratings", "add_words", "record_cupping"]

NOON = dt.time(12)
_AT_ONCE = 2000


@dataclass(frozen=True, slots=True)
class NewCup:
    """A cup as a file names it: the label of its sample and its number."""

    sample: str
    number: int


@dataclass(frozen=True, slots=True)
class NewRating:
    """A rating as a file names it; the attribute's name as :func:`names.folded` writes it."""

    taster: str
    cup: NewCup
    pass_name: str
    attribute: str
    value: Decimal


@transaction.atomic
def record_cupping(
    *,
    name: str,
    held_on: dt.date | None,
    ratings: Sequence[NewRating],
    by: Person,
    at: dt.datetime,
) -> Cupping:
    """Record a table that was held elsewhere: revealed from the start, with all its ratings.

    Its day is that of the import where the file does not tell it; its protocol is the newest
    table's. Both can be corrected on its page. Serving orders are not known and stay empty.
    """
    held = timezone.make_aware(dt.datetime.combine(held_on, NOON)) if held_on else at
    newest = Cupping.objects.order_by("-held_at").first()
    protocol = newest.protocol if newest else Protocol.objects.first()
    if protocol is None:
        raise InputError("write a protocol first; a table needs one")
    table = Cupping(name=name, held_at=held, protocol=protocol, host=by)
    table.state, table.revealed_at = Cupping.State.REVEALED, max(held, at)
    table.full_clean()
    table.save()
    rounds = _rounds(table, ratings)
    asked = _asked(table, ratings)
    seats = _seats(table, ratings)
    cups = _cups(table, ratings)
    Rating.objects.bulk_create(
        (
            Rating(
                cup=cups[rating.cup],
                seat=seats[rating.taster],
                round=rounds[rating.pass_name.casefold()],
                attribute=asked[rating.attribute],
                value=rating.value,
                at=held,
                by=by,
            )
            for rating in ratings
        ),
        batch_size=_AT_ONCE,
    )
    history.record(table, verb="imported", by=by, at=at, after={"ratings": len(ratings)})
    return table


def _rounds(table: Cupping, ratings: Sequence[NewRating]) -> dict[str, CuppingPass]:
    names: dict[str, str] = {}
    for rating in ratings:
        names.setdefault(rating.pass_name.casefold(), rating.pass_name)
    return {
        key: CuppingPass.objects.create(cupping=table, order=order, name=name)
        for order, (key, name) in enumerate(names.items(), start=1)
    }


def _asked(table: Cupping, ratings: Sequence[NewRating]) -> dict[str, Attribute]:
    wanted = {rating.attribute for rating in ratings}
    found = {folded(a.name): a for a in Attribute.objects.all() if folded(a.name) in wanted}
    CuppingAttribute.objects.bulk_create(
        CuppingAttribute(cupping=table, attribute=attribute, order=order)
        for order, attribute in enumerate(found.values(), start=1)
    )
    return found


def _seats(table: Cupping, ratings: Sequence[NewRating]) -> dict[str, Seat]:
    names = dict.fromkeys(rating.taster for rating in ratings)
    tasters = {taster.name: taster for taster in Taster.objects.filter(name__in=names)}
    return {
        name: Seat.objects.create(cupping=table, taster=tasters[name], order=order)
        for order, name in enumerate(names, start=1)
    }


def _cups(table: Cupping, ratings: Sequence[NewRating]) -> dict[NewCup, Cup]:
    poured = list(dict.fromkeys(rating.cup for rating in ratings))
    samples = {s.label: s for s in Sample.objects.filter(label__in={cup.sample for cup in poured})}
    codes = fresh_codes(len(poured), [])
    return {
        cup: Cup.objects.create(
            cupping=table, sample=samples[cup.sample], number=cup.number, code=code
        )
        for cup, code in zip(poured, codes, strict=True)
    }


@transaction.atomic
def add_ratings(
    *,
    cupping: Cupping,
    values: Mapping[tuple[int, int, int, int], Decimal],
    by: Person,
    at: dt.datetime,
) -> int:
    """Add ratings to an open table, by the keys of cup, seat, pass and attribute.

    Cells that are filled already are left as they are. Returns how many were added.

    Raises
    ------
    InputError
        When there is something to add and the table is not open.
    """
    kept = set(
        Rating.objects.filter(cup__cupping=cupping).values_list(
            "cup_id", "seat_id", "round_id", "attribute_id"
        )
    )
    new = {key: value for key, value in values.items() if key not in kept}
    if not new:
        return 0
    cupping = locked(cupping.pk, Cupping.State.OPEN)
    Rating.objects.bulk_create(
        (
            Rating(
                cup_id=cup,
                seat_id=seat,
                round_id=round_,
                attribute_id=attribute,
                value=value,
                at=at,
                by=by,
            )
            for (cup, seat, round_, attribute), value in new.items()
        ),
        batch_size=_AT_ONCE,
    )
    history.record(cupping, verb="imported ratings", by=by, at=at, after={"ratings": len(new)})
    return len(new)


@transaction.atomic
def add_words(
    *,
    cupping: Cupping,
    words: Mapping[tuple[int, int], Sequence[str]],
    by: Person,
    at: dt.datetime,
) -> int:
    """Add words to an open or revealed table, by the keys of cup and seat; none is taken away."""
    there = set(Word.objects.filter(cup__cupping=cupping).values_list("cup_id", "seat_id", "text"))
    new = [
        (cup, seat, text)
        for (cup, seat), said in words.items()
        for text in said
        if (cup, seat, text) not in there
    ]
    if not new:
        return 0
    cupping = locked(cupping.pk, Cupping.State.OPEN, Cupping.State.REVEALED)
    Word.objects.bulk_create(
        (Word(cup_id=cup, seat_id=seat, text=text) for cup, seat, text in new),
        batch_size=_AT_ONCE,
    )
    history.record(cupping, verb="imported words", by=by, at=at, after={"words": len(new)})
    return len(new)
