"""One taster's sheet: all cups on a laptop, one cup at a time on a phone. Codes only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from django.urls import reverse
from django.utils import timezone

from coupage.web.cuppings import queries
from coupage.web.cuppings.models import (
    Attribute,
    Cup,
    Cupping,
    CuppingPass,
    Rating,
    Seat,
    Word,
)
from coupage.web.cuppings.pages.table import cells_per_cup
from coupage.web.cuppings.words import suggestions

__all__ = [
    "SheetPage",
    "Typed",
    "cell_name",
    "closed",
    "cups_of",
    "saved_text",
    "sheet_page",
    "value_text",
]


def cell_name(round_: int, attribute: int) -> str:
    """Return the name of a rating's box in a form."""
    return f"r-{round_}-{attribute}"


def value_text(value: Decimal | None) -> str:
    """Write a rating as it is typed: 6.5, 7."""
    return "" if value is None else f"{value.normalize():f}"


@dataclass(frozen=True, slots=True)
class SheetCell:
    box: str
    attribute: str
    label: str
    value: str
    was: str
    error: str = ""


@dataclass(frozen=True, slots=True)
class SheetRow:
    cup: Cup
    position: int
    save: str
    state: str
    cells: tuple[SheetCell, ...]
    bad: bool


@dataclass(frozen=True, slots=True)
class SheetSection:
    round: CuppingPass
    rows: tuple[SheetRow, ...]


@dataclass(frozen=True, slots=True)
class WordsRow:
    cup: Cup
    text: str
    was: str
    save: str
    error: str = ""


@dataclass(frozen=True, slots=True)
class SheetPage:
    seat: Seat
    table: Cupping
    title: str
    attributes: tuple[Attribute, ...]
    sections: tuple[SheetSection, ...]
    words: tuple[WordsRow, ...]
    suggestions: list[str]
    filled: int
    most: int
    is_open: bool
    closed: str
    errors: int
    finish: str
    unfinish: str


@dataclass(frozen=True, slots=True)
class Typed:
    """What was sent and could not be kept, by the name of its box; and why."""

    texts: Mapping[str, str] = field(default_factory=dict)
    errors: Mapping[str, str] = field(default_factory=dict)


def sheet_page(seat: Seat, typed: Typed | None = None) -> SheetPage:
    """Return a taster's whole sheet; what was typed and is wrong stays in it."""
    typed = typed or Typed()
    table = seat.cupping
    asked = tuple(entry.attribute for entry in table.asked.select_related("attribute"))
    rounds = list(table.rounds.all())
    cups = cups_of(seat)
    ratings = queries.ratings_by_cell(seat)
    sections = tuple(
        SheetSection(
            round_,
            tuple(
                _row(seat, round_, cup, position, asked, ratings, typed)
                for position, cup in enumerate(cups, start=1)
            ),
        )
        for round_ in rounds
    )
    finish = reverse("cuppings:finish", args=[seat.pk])
    return SheetPage(
        seat=seat,
        table=table,
        title=f"Sheet of {seat.taster.name}",
        attributes=asked,
        sections=sections,
        words=_words(seat, cups, typed),
        suggestions=suggestions(),
        filled=len(ratings),
        most=cells_per_cup(table) * len(cups),
        is_open=table.state == Cupping.State.OPEN and not table.void,
        closed=closed(table),
        errors=len(typed.errors),
        finish=finish,
        unfinish=f"{finish}?back",
    )


def closed(table: Cupping) -> str:
    if table.void:
        return "This table was called off; nothing can be entered."
    if table.state == Cupping.State.PLANNED:
        return "This table is not open yet: the cups have no order, and nothing can be entered."
    if table.state == Cupping.State.REVEALED:
        return "This table is closed and revealed: what was entered stays as it is."
    return ""


def cups_of(seat: Seat) -> list[Cup]:
    """Return the cups in this taster's order; of a table that came from a file, by their codes."""
    served = [s.cup for s in seat.servings.select_related("cup").order_by("position")]
    if served or seat.cupping.state != Cupping.State.REVEALED:
        return served
    return list(seat.cupping.cups.order_by("code"))


def _row(
    seat: Seat,
    round_: CuppingPass,
    cup: Cup,
    position: int,
    asked: tuple[Attribute, ...],
    ratings: Mapping[tuple[int, int, int], Rating],
    typed: Typed,
) -> SheetRow:
    kept = [ratings.get((round_.pk, cup.pk, attribute.pk)) for attribute in asked]
    cells = []
    for attribute, rating in zip(asked, kept, strict=True):
        box = f"c-{cup.code}-{cell_name(round_.pk, attribute.pk)}"
        was = value_text(rating.value if rating else None)
        cells.append(
            SheetCell(
                box=box,
                attribute=attribute.name.capitalize(),
                label=f"{attribute.name}, cup {cup.code}, {round_.name}",
                value=typed.texts.get(box, was),
                was=was,
                error=typed.errors.get(box, ""),
            )
        )
    return SheetRow(
        cup=cup,
        position=position,
        save=reverse("cuppings:save-ratings", args=[seat.pk, cup.code]),
        state=saved_text([rating for rating in kept if rating], len(asked)),
        cells=tuple(cells),
        bad=any(cell.error for cell in cells),
    )


def saved_text(kept: list[Rating], most: int) -> str:
    """Say how many cells of a row are saved, and who entered the newest of them when."""
    if not kept:
        return "empty"
    newest = max(kept, key=lambda rating: rating.at)
    who = f", {newest.by.name}" if newest.by else ""
    count = "all" if len(kept) == most else f"{len(kept)} of {most}"
    return f"{count} saved{who} {timezone.localtime(newest.at):%H:%M}"


def _words(seat: Seat, cups: list[Cup], typed: Typed) -> tuple[WordsRow, ...]:
    said: dict[int, list[str]] = {}
    for word in Word.objects.filter(seat=seat):
        said.setdefault(word.cup_id, []).append(word.text)
    rows = []
    for cup in cups:
        was, box = ", ".join(said.get(cup.pk, [])), f"w-{cup.code}"
        rows.append(
            WordsRow(
                cup=cup,
                text=typed.texts.get(box, was),
                was=was,
                save=reverse("cuppings:save-words", args=[seat.pk, cup.code]),
                error=typed.errors.get(box, ""),
            )
        )
    return tuple(rows)
