"""A table as somebody sees it who only sits at it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from coupage.web.cuppings import queries
from coupage.web.cuppings.models import Attribute, Cup, Cupping, ProtocolStep, Seat, Word
from coupage.web.cuppings.pages.index import STATES
from coupage.web.cuppings.pages.table import cells_per_cup

__all__ = ["OwnCup", "OwnPage", "own_page"]


@dataclass(frozen=True, slots=True)
class OwnCup:
    """A cup after the reveal: what was in it, and what this taster gave it."""

    code: str
    sample: str
    ratings: tuple[tuple[str, str], ...]
    words: str


@dataclass(frozen=True, slots=True)
class OwnPage:
    """A table as somebody sees it who only sits at it."""

    table: Cupping
    seat: Seat | None
    state: str
    tone: str
    sentence: str
    filled: int
    most: int
    steps: tuple[ProtocolStep, ...]
    attributes: tuple[str, ...]
    cups: tuple[OwnCup, ...]
    is_open: bool


def own_page(table: Cupping, seat: Seat | None) -> OwnPage:
    """Return a taster's own page: what waits before the reveal, what it was after it."""
    asked = [entry.attribute for entry in table.asked.select_related("attribute")]
    most = cells_per_cup(table) * table.cups.count()
    filled = seat.ratings.count() if seat else 0
    is_open = table.state == Cupping.State.OPEN
    left = most - filled
    if is_open:
        sentence = (
            "You have rated every cup. Thank you."
            if not left
            else f"{left} of your {most} ratings are still empty."
        )
    else:
        sentence = f"{table} is revealed: this is what you tasted."
    label, tone = STATES[table.state]
    return OwnPage(
        table=table,
        seat=seat,
        state=label,
        tone=tone,
        sentence=sentence,
        filled=filled,
        most=most,
        steps=tuple(table.protocol.steps.all()),
        attributes=tuple(a.name for a in asked),
        cups=() if is_open or seat is None else _own_cups(seat, asked),
        is_open=is_open,
    )


def _own_cups(seat: Seat, asked: list[Attribute]) -> tuple[OwnCup, ...]:
    values: dict[tuple[int, int], list[Decimal]] = {}
    for (_, cup, attribute), rating in queries.ratings_by_cell(seat).items():
        values.setdefault((cup, attribute), []).append(rating.value)
    said: dict[int, list[str]] = {}
    for word in Word.objects.filter(seat=seat):
        said.setdefault(word.cup_id, []).append(word.text)
    cups = Cup.objects.filter(cupping=seat.cupping_id).select_related("sample").order_by("code")
    return tuple(
        OwnCup(
            cup.code,
            cup.sample.label,
            tuple((a.name, _average(values.get((cup.pk, a.pk), []))) for a in asked),
            ", ".join(said.get(cup.pk, [])),
        )
        for cup in cups
    )


def _average(values: list[Decimal]) -> str:
    return f"{sum(values) / len(values):.1f}" if values else "–"
