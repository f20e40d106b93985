"""Writes at the table: ratings cell by cell, words, and being done."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from decimal import Decimal

from django.db import transaction

from coupage.errors import InputError
from coupage.web.cuppings.models import Cup, Cupping, CuppingPass, Rating, Seat, Word
from coupage.web.people import history
from coupage.web.people.models import Person

__all__ = ["MOST_WORDS", "Cell", "finish_seat", "rate", "say_words", "split_words"]

Cell = tuple[int, int]
"""The keys of a pass and of an attribute."""

HALF = Decimal("0.5")
MOST_WORDS = 20


def under_way(seat: Seat) -> Cupping:
    """Return the table of a seat, kept from being revealed until this transaction ends.

    Raises
    ------
    InputError
        In kind words, when nothing can be entered now.
    """
    table = Cupping.objects.select_for_update(no_key=True).get(pk=seat.cupping_id)
    if table.void:
        raise InputError("this table was called off, so nothing can be entered any more")
    if table.state == Cupping.State.REVEALED:
        raise InputError(
            "thank you, but this table is closed and revealed, so nothing can be entered any more; "
            "ask the host to reopen it if something is missing"
        )
    if table.state == Cupping.State.PLANNED:
        raise InputError("this table is not open yet; wait for the host")
    return table


@transaction.atomic
def rate(
    *,
    seat: Seat,
    cup: Cup,
    values: Mapping[Cell, Decimal | None],
    by: Person | None,
    at: dt.datetime,
) -> None:
    """Put values into some cells of one cup; None empties a cell. Sent twice, it is kept once.

    A value that somebody else had entered, and that differs, is noted in the history of the table.

    Raises
    ------
    InputError
        When the table is not open, or a cup, pass, attribute or value does not belong to it.
    """
    table = under_way(seat)
    _check(table, cup, values)
    there = {
        (rating.round_id, rating.attribute_id): rating
        for rating in Rating.objects.filter(seat=seat, cup=cup).select_related("by", "attribute")
    }
    emptied = [there[cell].pk for cell, value in values.items() if value is None and cell in there]
    changed = {
        cell: value
        for cell, value in values.items()
        if value is not None and (cell not in there or there[cell].value != value)
    }
    _note_others(table, seat, cup, values, there, by, at)
    Rating.objects.filter(pk__in=emptied).delete()
    Rating.objects.bulk_create(
        (
            Rating(
                cup=cup,
                seat=seat,
                round_id=cell[0],
                attribute_id=cell[1],
                value=value,
                at=at,
                by=by,
            )
            for cell, value in changed.items()
        ),
        update_conflicts=True,
        unique_fields=["cup", "seat", "attribute", "round"],
        update_fields=["value", "at", "by"],
    )


def _check(table: Cupping, cup: Cup, values: Mapping[Cell, Decimal | None]) -> None:
    if cup.cupping_id != table.pk:
        raise InputError(f"cup {cup} stands on another table")
    rounds = set(CuppingPass.objects.filter(cupping=table).values_list("pk", flat=True))
    asked = set(table.asked.values_list("attribute_id", flat=True))
    for (round_, attribute), value in values.items():
        if round_ not in rounds or attribute not in asked:
            raise InputError("this table asks for no such rating; reload the page")
        if value is not None and not (0 <= value <= 10 and value % HALF == 0):
            raise InputError(f"{value:g} is not on the scale; give 0 to 10 in halves, like 6.5")


def _note_others(
    table: Cupping,
    seat: Seat,
    cup: Cup,
    values: Mapping[Cell, Decimal | None],
    there: Mapping[Cell, Rating],
    by: Person | None,
    at: dt.datetime,
) -> None:
    for cell, value in values.items():
        kept = there.get(cell)
        if kept is None or kept.value == value or kept.by == by:
            continue
        key = f"{seat.taster.name}, {cup.code}, {kept.attribute.name}"
        history.record(
            table,
            verb="changed a rating entered by somebody else",
            by=by,
            at=at,
            before={key: f"{kept.value.normalize():f}"},
            after={key: "" if value is None else f"{value.normalize():f}"},
        )


def split_words(text: str) -> list[str]:
    """Part a note into words, by comma, semicolon or line: in small letters, each once.

    >>> split_words("red currant, Cocoa; cocoa")
    ['red currant', 'cocoa']
    """
    for mark in ";\n\r":
        text = text.replace(mark, ",")
    said = (" ".join(part.split()).lower() for part in text.split(","))
    return list(dict.fromkeys(word for word in said if word))


@transaction.atomic
def say_words(*, seat: Seat, cup: Cup, words: Sequence[str]) -> list[str]:
    """Make these the words of one taster on one cup.

    Raises
    ------
    InputError
        When the table is not open, the cup stands elsewhere, or a word is too long.
    """
    table = under_way(seat)
    if cup.cupping_id != table.pk:
        raise InputError(f"cup {cup} stands on another table")
    clean = split_words(",".join(words))
    if len(clean) > MOST_WORDS:
        raise InputError(f"{len(clean)} words came; keep the {MOST_WORDS} that matter most")
    long = [word for word in clean if len(word) > 40]
    if long:
        raise InputError(f"{long[0][:40]}… is longer than 40 letters; part words by commas")
    there = Word.objects.filter(seat=seat, cup=cup)
    there.exclude(text__in=clean).delete()
    Word.objects.bulk_create(
        (Word(seat=seat, cup=cup, text=word) for word in clean), ignore_conflicts=True
    )
    return clean


@transaction.atomic
def finish_seat(*, seat: Seat, finished: bool, at: dt.datetime) -> Seat:
    """Say that a taster is done, or goes on."""
    under_way(seat)
    Seat.objects.filter(pk=seat.pk).update(finished_at=at if finished else None)
    seat.finished_at = at if finished else None
    return seat
