"""Writes about ratings that do not fit: corrected, set aside, exchanged, and all of it undone."""

from __future__ import annotations

import datetime as dt
import secrets
from decimal import Decimal

from django.db import transaction

from coupage.errors import InputError
from coupage.web.cuppings.actions.setup import locked
from coupage.web.cuppings.models import Cupping, Mend, Rating, Sample, Seat
from coupage.web.people import history
from coupage.web.people.models import Person

__all__ = ["exchange_codes", "mend_rating", "undo_mend"]


@transaction.atomic
def mend_rating(
    *, rating: Rating, value: Decimal | None, reason: str, by: Person, at: dt.datetime
) -> Mend:
    """Correct a rating of a revealed table, or set it aside (None). What the taster gave is kept.

    Raises
    ------
    InputError
        When the table is not revealed, no reason is given, or it was mended before.
    """
    table = locked(rating.cup.cupping_id, Cupping.State.REVEALED)
    mend = _mend(rating, value, _reason(reason), "", by, at)
    verb = "set aside a rating of" if value is None else "corrected a rating of"
    history.record(table, verb=verb, by=by, at=at, note=f"{_which(rating)}, {mend}; {mend.reason}")
    return mend


@transaction.atomic
def exchange_codes(
    *, seat: Seat, first: Sample, second: Sample, reason: str, by: Person, at: dt.datetime
) -> list[Mend]:
    """Exchange what a taster rated of two samples: the codes were mixed up.

    Of each sample the cup that was rated first; what was rated of one of them only stays.

    Raises
    ------
    InputError
        When the table is not revealed, no reason is given, or there is nothing to exchange.
    """
    table = locked(seat.cupping_id, Cupping.State.REVEALED)
    reason, together = _reason(reason), secrets.token_hex(16)
    one, two = _ratings_of(seat, first), _ratings_of(seat, second)
    both = sorted(one.keys() & two.keys())
    if not both:
        raise InputError(f"{seat.taster} rated nothing of both {first} and {second}")
    mends = []
    for cell in both:
        a, b = one[cell], two[cell]
        values = a.value, b.value
        mends += [
            _mend(a, values[1], reason, together, by, at),
            _mend(b, values[0], reason, together, by, at),
        ]
    note = f"{seat.taster}, {first} and {second}, {len(both)} ratings each; {reason}"
    history.record(table, verb="exchanged two codes of", by=by, at=at, note=note)
    return mends


@transaction.atomic
def undo_mend(*, mend: Mend, by: Person, at: dt.datetime) -> list[Mend]:
    """Let a rating count as the taster gave it, and all that was mended together with it.

    Raises
    ------
    InputError
        When it was undone already.
    """
    table = locked(mend.rating.cup.cupping_id, Cupping.State.REVEALED)
    group = {"together": mend.together} if mend.together else {"pk": mend.pk}
    there = list(
        Mend.objects.filter(**group, undone_at=None).select_related(
            "rating__attribute", "rating__seat__taster", "rating__cup"
        )
    )
    if not there:
        raise InputError("this was undone already")
    for each in there:
        Mend.objects.filter(pk=each.pk).update(undone_at=at)
        if each.became is None:
            continue
        # A rating that was given anew since then stays as it is.
        Rating.objects.filter(pk=each.rating_id, value=each.became).update(value=each.was)
    note = f"{_which(there[0].rating)}, {there[0]}" if len(there) == 1 else f"{len(there)} ratings"
    history.record(table, verb="undid what was mended in", by=by, at=at, note=note)
    return there


def _mend(
    rating: Rating,
    value: Decimal | None,
    reason: str,
    together: str,
    by: Person,
    at: dt.datetime,
) -> Mend:
    # A mend of a value that was given anew since then holds no more.
    Mend.objects.filter(rating=rating, undone_at=None, at__lt=rating.at).update(undone_at=at)
    if Mend.objects.filter(rating=rating, undone_at=None).exists():
        raise InputError(f"{_which(rating)} was mended already; undo that first")
    if value == rating.value and not together:
        raise InputError(f"it is {value:g} already; type another value, or set it aside")
    mend = Mend.objects.create(
        rating=rating,
        was=rating.value,
        became=value,
        reason=reason,
        together=together,
        by=by,
        at=at,
    )
    if value is not None:
        Rating.objects.filter(pk=rating.pk).update(value=value)
    return mend


def _ratings_of(seat: Seat, sample: Sample) -> dict[tuple[int, int], Rating]:
    """Return a taster's ratings of a sample's cup that was rated first, by pass and attribute."""
    found = list(
        Rating.objects.filter(seat=seat, cup__sample=sample)
        .select_related("attribute", "cup", "seat__taster")
        .order_by("id")
    )
    return {
        (each.round_id, each.attribute_id): each for each in found if each.cup_id == found[0].cup_id
    }


def _which(rating: Rating) -> str:
    return f"{rating.seat.taster}, cup {rating.cup}, {rating.attribute}"


def _reason(text: str) -> str:
    reason = text.strip()[:200]
    if not reason:
        raise InputError("say why; it stays in the history")
    return reason
