"""One taster's sheet: all cups on a laptop, one cup at a time on a phone. Codes only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from django.http import Http404
from django.urls import reverse
from django.utils import timezone

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
from coupage.web.cuppings.pages.index import STATES
from coupage.web.cuppings.pages.table import cells_per_cup
from coupage.web.cuppings.words import suggestions

__all__ = [
    "OwnPage",
    "SheetPage",
    "TastePage",
    "Typed",
    "cell_name",
    "first_open",
    "own_page",
    "saved_text",
    "sheet_page",
    "taste_page",
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
    cups = _cups(seat)
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
        closed=_closed(table),
        errors=len(typed.errors),
        finish=finish,
        unfinish=f"{finish}?back",
    )


def _closed(table: Cupping) -> str:
    if table.void:
        return "This table was called off; nothing can be entered."
    if table.state == Cupping.State.PLANNED:
        return "This table is not open yet: the cups have no order, and nothing can be entered."
    if table.state == Cupping.State.REVEALED:
        return "This table is closed and revealed: what was entered stays as it is."
    return ""


def _cups(seat: Seat) -> list[Cup]:
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
        box = f"c-{cup.pk}-{cell_name(round_.pk, attribute.pk)}"
        was = value_text(rating.value if rating else None)
        cells.append(
            SheetCell(
                box=box,
                label=f"{attribute.name}, cup {cup.code}, {round_.name}",
                value=typed.texts.get(box, was),
                was=was,
                error=typed.errors.get(box, ""),
            )
        )
    return SheetRow(
        cup=cup,
        position=position,
        save=reverse("cuppings:save-ratings", args=[seat.pk, cup.pk]),
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
        was, box = ", ".join(said.get(cup.pk, [])), f"w-{cup.pk}"
        rows.append(
            WordsRow(
                cup=cup,
                text=typed.texts.get(box, was),
                was=was,
                save=reverse("cuppings:save-words", args=[seat.pk, cup.pk]),
                error=typed.errors.get(box, ""),
            )
        )
    return tuple(rows)


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
    rounds, cups = list(table.rounds.all()), _cups(seat)
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
        closed=_closed(table),
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
    rounds, cups = list(seat.cupping.rounds.all()), _cups(seat)
    asked = seat.cupping.asked.count()
    missing = _missing(rounds, cups, asked, queries.ratings_by_cell(seat))
    return missing[0][1:] if missing else (1, 1)


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
