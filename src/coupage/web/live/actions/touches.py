"""Writes of what phones send: every touch once, the later one counts, all of them kept.

A phone stores a touch before it sends it, and may send it late, twice, or together with others.
Three rules make that safe:

- A touch carries a key drawn on the phone; a key that is there already is left as it is.
- Of two touches of one thing the one made later counts, whatever came first; both are kept.
- After the close nothing changes by itself: touches are kept apart for the host to admit.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction
from django.db.models import Q

from coupage.errors import InputError
from coupage.web.cuppings.models import Cupping, Rating, Seat, Word
from coupage.web.live.layout import Layout, layout_of
from coupage.web.live.models import FaultMark, Touch
from coupage.web.people import history
from coupage.web.people.models import Person

__all__ = ["MOST_AT_ONCE", "Sent", "admit_late", "keep_touches", "leave_out_late"]

MOST_AT_ONCE = 200
HALF = Decimal("0.5")
Fate = Touch.Fate
What = Touch.What
Cell = tuple[object, ...]
When = tuple[dt.datetime, str]


@dataclass(frozen=True, slots=True)
class Sent:
    """A touch as a phone sends it: the cup by its code, the time by the phone's own clock."""

    key: str
    what: str
    made_at: dt.datetime
    cup: str = ""
    round: int = 0
    attribute: int = 0
    value: Decimal | None = None
    word: str = ""
    on: bool = True


@transaction.atomic
def keep_touches(
    *, seat: Seat, device: str, sent: Sequence[Sent], at: dt.datetime
) -> dict[str, str]:
    """Keep what a phone sent, and say by key what became of each: kept, older or late.

    Parameters
    ----------
    device
        A name that the device drew for itself.
    sent
        At most :data:`MOST_AT_ONCE`. A time that lies ahead counts as now, so that a phone whose
        clock is fast cannot have the last word for ever.

    Raises
    ------
    InputError
        When the table is not open yet, or a touch asks for what this table does not have; then
        nothing of it is kept.
    """
    if len(sent) > MOST_AT_ONCE:
        raise InputError(f"{len(sent)} touches came at once; send at most {MOST_AT_ONCE}")
    # Whoever closes the table waits for this, or this for them: nothing slips in between.
    table = Cupping.objects.select_for_update(no_key=True).get(pk=seat.cupping_id)
    if table.state == Cupping.State.PLANNED:
        raise InputError("this table is not open yet; wait for the host")
    layout = layout_of(table)
    known = dict(
        Touch.objects.filter(seat=seat, key__in=[one.key for one in sent]).values_list(
            "key", "fate"
        )
    )
    fresh = {one.key: one for one in sent if one.key not in known}
    touches = [_touch(seat, device, one, layout, at) for one in fresh.values()]
    if table.void or table.state == Cupping.State.REVEALED:
        for touch in touches:
            touch.fate = Fate.LATE
    else:
        _apply(seat, touches, at)
    Touch.objects.bulk_create(touches)
    return known | {touch.key: str(touch.fate) for touch in touches}


def _touch(seat: Seat, device: str, one: Sent, layout: Layout, at: dt.datetime) -> Touch:
    """Return a touch as a row, or raise when this table asks for no such thing."""
    touch = Touch(
        seat=seat,
        key=one.key,
        device=device,
        what=one.what,
        on=one.on,
        made_at=min(one.made_at, at),
        came_at=at,
        fate=Fate.KEPT,
    )
    if one.what != What.DONE:
        if one.cup not in layout.cups:
            raise InputError(f"there is no cup {one.cup[:8]!r} on this table; reload the page")
        touch.cup_id = layout.cups[one.cup]
    if one.what == What.RATING:
        if one.round not in layout.rounds or one.attribute not in layout.asked:
            raise InputError("this table asks for no such rating; reload the page")
        if one.value is not None and not (0 <= one.value <= 10 and one.value % HALF == 0):
            raise InputError(f"{one.value:g} is not on the scale; give 0 to 10 in halves, like 6.5")
        touch.round_id, touch.attribute_id, touch.value = one.round, one.attribute, one.value
    elif one.what == What.WORD:
        touch.word = " ".join(one.word.lower().split())
        if not 0 < len(touch.word) <= 40:
            raise InputError("a word has from 1 to 40 letters; part words by commas")
    return touch


def _cell(touch: Touch) -> Cell:
    """Return what a touch is about; of two touches of one cell the later one counts."""
    return (touch.what, touch.cup_id, touch.round_id, touch.attribute_id, touch.word)


def _when(touch: Touch) -> When:
    return (touch.made_at, touch.key)


def _newest(found: Iterable[tuple[Cell, When]]) -> dict[Cell, When]:
    """Return when each cell was touched last."""
    newest: dict[Cell, When] = {}
    for cell, when in found:
        if cell not in newest or when > newest[cell]:
            newest[cell] = when
    return newest


def _touched_before(seat: Seat, touches: Sequence[Touch]) -> dict[Cell, When]:
    """Return when the cells of these touches were touched last, as far as it counts."""
    attributes = {touch.attribute_id for touch in touches if touch.attribute_id is not None}
    ratings, others = Q(attribute__in=attributes), Q(attribute=None)
    wanted = ratings | others if any(t.attribute_id is None for t in touches) else ratings
    cups = Q(cup__in={t.cup_id for t in touches if t.cup_id is not None})
    if any(touch.what == What.DONE for touch in touches):
        cups |= Q(cup=None)
    rows = Touch.objects.filter(cups, wanted, seat=seat, fate__in=[Fate.KEPT, Fate.ADMITTED])
    return _newest(
        ((what, cup, round_, attribute, word), (made_at, key))
        for what, cup, round_, attribute, word, made_at, key in rows.order_by().values_list(
            "what", "cup", "round", "attribute", "word", "made_at", "key"
        )
    )


def _apply(seat: Seat, touches: Sequence[Touch], at: dt.datetime) -> None:
    """Let the newest touch of each cell count, and mark the others as older."""
    cups = {touch.cup_id for touch in touches if touch.cup_id is not None}
    there = _touched_before(seat, touches)
    ratings: dict[Cell, Rating] = {
        (What.RATING, r.cup_id, r.round_id, r.attribute_id, ""): r
        for r in Rating.objects.filter(seat=seat, cup_id__in=cups)
    }
    newest = _newest((_cell(touch), _when(touch)) for touch in touches)
    winners = []
    for touch in touches:
        cell = _cell(touch)
        rating = ratings.get(cell)
        beaten = (
            newest[cell] != _when(touch)
            or (cell in there and there[cell] > _when(touch))
            # Entered by another way, such as the host's sheet, and later.
            or (rating is not None and rating.at > touch.made_at)
        )
        if beaten:
            touch.fate = Fate.OLDER
        else:
            winners.append(touch)
    _write(seat, winners, ratings, at)


def _write(
    seat: Seat, winners: Sequence[Touch], ratings: Mapping[Cell, Rating], at: dt.datetime
) -> None:
    by = seat.taster.person
    _write_ratings(seat, [t for t in winners if t.what == What.RATING], ratings, by, at)
    for touch in winners:
        if touch.what == What.DONE:
            finished = touch.made_at if touch.on else None
            Seat.objects.filter(pk=seat.pk).update(finished_at=finished)
        elif touch.what == What.WORD and touch.cup is not None:
            if touch.on:
                Word.objects.get_or_create(seat=seat, cup=touch.cup, text=touch.word)
            else:
                Word.objects.filter(seat=seat, cup=touch.cup, text=touch.word).delete()
        elif touch.what == What.FAULT and touch.cup is not None:
            if touch.on:
                FaultMark.objects.get_or_create(
                    seat=seat, cup=touch.cup, defaults={"at": touch.made_at}
                )
            else:
                FaultMark.objects.filter(seat=seat, cup=touch.cup).delete()


def _write_ratings(
    seat: Seat,
    winners: Sequence[Touch],
    ratings: Mapping[Cell, Rating],
    by: Person | None,
    at: dt.datetime,
) -> None:
    emptied = [ratings[_cell(t)].pk for t in winners if t.value is None and _cell(t) in ratings]
    if emptied:
        Rating.objects.filter(pk__in=emptied).delete()
    Rating.objects.bulk_create(
        (_rating(touch, by) for touch in winners if touch.value is not None),
        update_conflicts=True,
        unique_fields=["cup", "seat", "attribute", "round"],
        update_fields=["value", "at", "by"],
    )
    for touch in winners:
        there = ratings.get(_cell(touch))
        if there is None or there.by_id == (by.pk if by else None) or there.value == touch.value:
            continue
        key = f"{seat.taster.name}, {there.cup.code}, {there.attribute.name}"
        history.record(
            seat.cupping,
            verb="changed a rating entered by somebody else",
            by=by,
            at=at,
            before={key: _text(there.value)},
            after={key: _text(touch.value)},
        )


def _rating(touch: Touch, by: Person | None) -> Rating:
    rating = Rating(seat=touch.seat, at=touch.made_at, by=by)
    for name in ("cup_id", "round_id", "attribute_id", "value"):
        setattr(rating, name, getattr(touch, name))
    return rating


def _text(value: Decimal | None) -> str:
    return "" if value is None else f"{value.normalize():f}"


@transaction.atomic
def admit_late(*, seat: Seat, by: Person, at: dt.datetime) -> int:
    """Let what a taster sent after the close count after all; returns how many touches it was.

    Raises
    ------
    InputError
        When nothing waits.
    """
    cupping, late = _late(seat)
    for touch in late:
        touch.fate = Fate.KEPT
    _apply(seat, late, at)
    for touch in late:
        touch.fate = Fate.ADMITTED if touch.fate == Fate.KEPT else Fate.OLDER
    Touch.objects.bulk_update(late, ["fate"])
    history.record(
        cupping,
        verb="admitted what came after the close",
        by=by,
        at=at,
        note=str(seat.taster),
        after={"touches": len(late)},
    )
    return len(late)


@transaction.atomic
def leave_out_late(*, seat: Seat, by: Person, at: dt.datetime) -> int:
    """Leave out for good what a taster sent after the close; it stays on record."""
    cupping, late = _late(seat)
    Touch.objects.filter(pk__in=[touch.pk for touch in late]).update(fate=Fate.LEFT_OUT)
    history.record(
        cupping,
        verb="left out what came after the close",
        by=by,
        at=at,
        note=str(seat.taster),
        after={"touches": len(late)},
    )
    return len(late)


def _late(seat: Seat) -> tuple[Cupping, list[Touch]]:
    cupping = Cupping.objects.select_for_update().get(pk=seat.cupping_id)
    late = list(Touch.objects.filter(seat=seat, fate=Fate.LATE))
    if not late:
        raise InputError(f"nothing of {seat.taster} waits to be admitted")
    return cupping, late
