"""One cup at a time, for a phone: the taster's own order, pass by pass. Codes only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from django.http import Http404
from django.urls import reverse

from coupage.web.cuppings import queries
from coupage.web.cuppings.models import (
    Attribute,
    Cup,
    Cupping,
    CuppingPass,
    ProtocolStep,
    Rating,
    Seat,
    Word,
)
from coupage.web.cuppings.pages.sheet import cell_name, closed, cups_of, saved_text, value_text
from coupage.web.cuppings.words import suggestions

__all__ = ["Dot", "TasteLine", "TastePage", "first_open", "taste_page"]


@dataclass(frozen=True, slots=True)
class TasteLine:
    """One attribute of one cup on the phone."""

    attribute: Attribute
    name: str
    value: str
    slider: str


@dataclass(frozen=True, slots=True)
class Dot:
    """A cup of the order, and how much of it is rated: done, begun or none."""

    code: str
    state: str
    href: str
    here: bool


@dataclass(frozen=True, slots=True)
class TastePage:
    seat: Seat
    table: Cupping
    cup: Cup
    round: CuppingPass
    rounds: int
    position: int
    cups: int
    lines: tuple[TasteLine, ...]
    words: list[str]
    suggestions: list[str]
    save: str
    save_words: str
    back: str
    next: str
    sheet: str
    is_open: bool
    closed: str
    dots: tuple[Dot, ...]
    finish: str
    missing: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]
    saved: str


def taste_page(seat: Seat, round_number: int, position: int) -> TastePage:
    """Return one cup of a taster's own order in one pass, or 404."""
    table = seat.cupping
    rounds, cups = list(table.rounds.all()), cups_of(seat)
    if not (1 <= round_number <= len(rounds) and 1 <= position <= len(cups)):
        raise Http404("There is no such cup in this order.")
    round_, cup = rounds[round_number - 1], cups[position - 1]
    asked = [entry.attribute for entry in table.asked.select_related("attribute")]
    ratings = queries.ratings_by_cell(seat)
    kept = [r for a in asked if (r := ratings.get((round_.pk, cup.pk, a.pk)))]
    place = (round_number - 1) * len(cups) + position

    def address(step: int) -> str:
        if not 1 <= step <= len(rounds) * len(cups):
            return ""
        which, at = divmod(step - 1, len(cups))
        return reverse("cuppings:taste-cup", args=[seat.pk, which + 1, at + 1])

    return TastePage(
        seat=seat,
        table=table,
        cup=cup,
        round=round_,
        rounds=len(rounds),
        position=position,
        cups=len(cups),
        lines=tuple(_line(a, round_, ratings.get((round_.pk, cup.pk, a.pk))) for a in asked),
        words=list(Word.objects.filter(seat=seat, cup=cup).values_list("text", flat=True)),
        suggestions=suggestions(),
        save=reverse("cuppings:save-ratings", args=[seat.pk, cup.pk]),
        save_words=reverse("cuppings:save-words", args=[seat.pk, cup.pk]),
        back=address(place - 1),
        next=address(place + 1),
        sheet=reverse("cuppings:sheet", args=[seat.pk]),
        is_open=table.state == Cupping.State.OPEN and not table.void,
        closed=closed(table),
        dots=_dots(seat, round_, round_number, cups, cup, asked, ratings),
        finish=reverse("cuppings:finish", args=[seat.pk]),
        missing=tuple(
            (label, reverse("cuppings:taste-cup", args=[seat.pk, which, at]))
            for label, which, at in _missing(rounds, cups, len(asked), ratings)
        ),
        cautions=_step_cautions(table),
        saved=saved_text(kept, len(asked)),
    )


def _line(attribute: Attribute, round_: CuppingPass, rating: Rating | None) -> TasteLine:
    value = value_text(rating.value if rating else None)
    return TasteLine(attribute, cell_name(round_.pk, attribute.pk), value, value or "5")


def _dots(
    seat: Seat,
    round_: CuppingPass,
    round_number: int,
    cups: list[Cup],
    here: Cup,
    asked: list[Attribute],
    ratings: Mapping[tuple[int, int, int], Rating],
) -> tuple[Dot, ...]:
    """Return the cups of this pass in the taster's order."""
    made = []
    for position, cup in enumerate(cups, start=1):
        n = sum((round_.pk, cup.pk, a.pk) in ratings for a in asked)
        state = "done" if n == len(asked) else "begun" if n else "none"
        address = reverse("cuppings:taste-cup", args=[seat.pk, round_number, position])
        made.append(Dot(cup.code, state, address, cup == here))
    return tuple(made)


def _missing(
    rounds: list[CuppingPass],
    cups: list[Cup],
    asked: int,
    ratings: Mapping[tuple[int, int, int], Rating],
) -> list[tuple[str, int, int]]:
    """Return what is not complete yet: what it is, and the numbers of its pass and position."""
    counts: dict[tuple[int, int], int] = {}
    for round_, cup, _ in ratings:
        counts[round_, cup] = counts.get((round_, cup), 0) + 1
    return [
        (f"{cup.code} {round_.name}" if len(rounds) > 1 else cup.code, which, position)
        for which, round_ in enumerate(rounds, start=1)
        for position, cup in enumerate(cups, start=1)
        if counts.get((round_.pk, cup.pk), 0) < asked
    ]


def _step_cautions(table: Cupping) -> tuple[str, ...]:
    steps: list[ProtocolStep] = list(table.protocol.steps.all())
    return tuple(step.caution for step in steps if step.caution and "taste" in step.name.lower())


def first_open(seat: Seat) -> tuple[int, int]:
    """Return the pass and position, from 1, where this taster goes on."""
    rounds, cups = list(seat.cupping.rounds.all()), cups_of(seat)
    asked = seat.cupping.asked.count()
    missing = _missing(rounds, cups, asked, queries.ratings_by_cell(seat))
    return missing[0][1:] if missing else (1, 1)
