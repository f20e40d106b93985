"""Writes about what the counter is told and what the bag promises."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from django.db import transaction

from coupage.web.blends.models import Blend, CafeCard, PromiseWord
from coupage.web.blends.serving import promise_text
from coupage.web.common.revisions import StaleError, take_revision
from coupage.web.people import history
from coupage.web.people.models import Person

__all__ = ["write_card", "write_promises"]

CARD_FIELDS = ("dose_mg", "drink_mg", "seconds", "temperature_c", "milk", "note")


@transaction.atomic
def write_card(*, card: CafeCard, revision: int, by: Person, at: dt.datetime) -> CafeCard:
    """Save the card of a recipe, new or changed, unless somebody else saved it meanwhile.

    Raises
    ------
    StaleError
        When the card is no longer the one that was opened; ``revision`` is 0 where there was none.
    """
    there = CafeCard.objects.filter(recipe=card.recipe).first()
    if there is None:
        card.full_clean()
        card.save()
        history.record(card.recipe, verb="wrote the card", by=by, at=at, after=_now(card))
        return card
    if there.pk != card.pk:
        raise StaleError("this card was written by somebody else while you were writing; compare")
    before = _now(there)
    take_revision(CafeCard, card.pk, revision)
    card.full_clean()
    card.save(update_fields=CARD_FIELDS)
    after = _now(card)
    history.record(card.recipe, verb="changed the card", by=by, at=at, before=before, after=after)
    return card


def _now(card: CafeCard) -> dict[str, object]:
    return dict(history.snapshot(card, CARD_FIELDS))


@transaction.atomic
def write_promises(
    *, blend: Blend, words: Sequence[PromiseWord], revision: int, by: Person, at: dt.datetime
) -> Blend:
    """Save what the bag of a blend promises, unless somebody else changed the blend meanwhile."""
    before = {"promises": [promise_text(word) for word in blend.promises.all()]}
    take_revision(Blend, blend.pk, revision)
    blend.promises.all().delete()
    for word in words:
        word.pk, word.blend = None, blend
        word.full_clean()
        word.save()
    after: dict[str, object] = {"promises": [promise_text(word) for word in words]}
    history.record(blend, verb="changed the promise", by=by, at=at, before=before, after=after)
    return blend
