"""One table while it is set up or under way."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Count
from django.urls import reverse

from coupage.units import show_share
from coupage.web.cuppings import queries
from coupage.web.cuppings.access import own_seat
from coupage.web.cuppings.actions.life import what_is_missing
from coupage.web.cuppings.models import Cup, Cupping, ProtocolStep, Rating, Sample, Seat
from coupage.web.cuppings.pages.index import STATES
from coupage.web.cuppings.pages.said import joined
from coupage.web.people import history
from coupage.web.people.access import may
from coupage.web.people.models import Change, Person

__all__ = [
    "MatrixRow",
    "PouredSample",
    "TablePage",
    "cells_per_cup",
    "made_of",
    "matrix_of",
    "table_page",
]


@dataclass(frozen=True, slots=True)
class PouredSample:
    sample: Sample
    made_of: str
    cups: int


@dataclass(frozen=True, slots=True)
class MatrixCell:
    """How much of one cup a taster has rated: ``state`` is done, begun or none."""

    code: str
    state: str
    said: str


@dataclass(frozen=True, slots=True)
class MatrixRow:
    seat: Seat
    cells: tuple[MatrixCell, ...]
    filled: int
    most: int
    finished: str


@dataclass(frozen=True, slots=True)
class TablePage:
    table: Cupping
    state: str
    tone: str
    sentence: str
    note: str
    facts: tuple[tuple[str, str], ...]
    samples: tuple[PouredSample, ...]
    seats: tuple[Seat, ...]
    missing: tuple[str, ...]
    codes: tuple[str, ...]
    matrix: tuple[MatrixRow, ...]
    empty_cells: int
    cells: int
    own: Seat | None
    steps: tuple[ProtocolStep, ...]
    cautions: tuple[str, ...]
    void: str
    valid: str
    changes: tuple[Change, ...]


def cells_per_cup(table: Cupping) -> int:
    """Return how many ratings one taster gives to one cup."""
    return table.rounds.count() * table.asked.count()


def table_page(person: Person, table: Cupping) -> TablePage:
    """Return what the host sees of a table, as far as this person may see it."""
    own = own_seat(person, table)
    seats = tuple(queries.seats_of(table))
    cups = list(table.cups.order_by("code"))
    matrix = matrix_of(table)
    filled, cells = sum(row.filled for row in matrix), sum(row.most for row in matrix)
    label, tone = STATES[table.state]
    # A reader who tastes blind here is not told what stands on the table.
    hidden = own is not None and not may(person, "work")
    void = reverse("cuppings:void", args=[table.pk])
    return TablePage(
        table=table,
        state="void" if table.void else label,
        tone="stop" if table.void else tone,
        sentence=_sentence(table, seats, cups, filled, cells),
        note="" if hidden else table.note,
        facts=_facts(table),
        samples=() if hidden else _poured(table),
        seats=seats,
        missing=tuple(what_is_missing(table)) if table.state == Cupping.State.PLANNED else (),
        codes=tuple(cup.code for cup in cups),
        matrix=matrix,
        empty_cells=cells - filled,
        cells=cells,
        own=own,
        steps=tuple(table.protocol.steps.all()),
        cautions=_cautions(table),
        void=void,
        valid=f"{void}?back",
        changes=() if hidden else tuple(history.of(table)[:20]),
    )


def _sentence(
    table: Cupping, seats: tuple[Seat, ...], cups: list[Cup], filled: int, cells: int
) -> str:
    if table.void:
        return f"{table} is void: it counts nowhere."
    if table.state == Cupping.State.PLANNED:
        ready = seats and cups
        return (
            f"{_many(len(cups), 'cup', 'cups')} and {_many(len(seats), 'taster', 'tasters')}: "
            "ready to open."
            if ready
            else f"{table} is being set up."
        )
    missing = cells - filled
    if not missing:
        return "Everybody has rated every cup: close the table and reveal it."
    waiting = [row.taster.name for row in seats if row.finished_at is None]
    still = "is still at it" if len(waiting) == 1 else "are still at it"
    who = f" {joined(waiting)} {still}." if waiting and len(waiting) < 5 else ""
    return f"{_many(filled, 'rating is', 'ratings are')} in, {missing} of {cells} are missing.{who}"


def _many(n: int, one: str, more: str) -> str:
    return f"{n} {one if n == 1 else more}"


def _facts(table: Cupping) -> tuple[tuple[str, str], ...]:
    protocol = table.protocol
    return (
        ("Protocol", protocol.name),
        ("Dose and water", f"{protocol.dose_mg / 1000:g} g to {protocol.water_g} g"),
        ("Water", f"{protocol.water_c:g} °C"),
        ("Passes", ", ".join(table.rounds.values_list("name", flat=True)) or "–"),
        ("Rated", ", ".join(table.asked.values_list("attribute__name", flat=True)) or "–"),
        ("Host", str(table.host or "–")),
    )


def _cautions(table: Cupping) -> tuple[str, ...]:
    rounds = " ".join(table.rounds.values_list("name", flat=True))
    milk = "milk" in f"{rounds} {table.protocol.name}".lower()
    return ("scald", "hygiene", "caffeine", *(("allergens",) if milk else ()))


def _poured(table: Cupping) -> tuple[PouredSample, ...]:
    counts = dict(
        table.cups.order_by().values("sample").annotate(n=Count("pk")).values_list("sample", "n")
    )
    found = queries.samples().filter(pk__in=counts)
    rows = [PouredSample(sample, made_of(sample), counts[sample.pk]) for sample in found]
    return tuple(sorted(rows, key=lambda row: row.sample.label))


def made_of(sample: Sample) -> str:
    """Say what is in a sample: its batches with their shares."""
    parts = list(sample.parts.all())
    if len(parts) == 1:
        batch = parts[0].batch
        return f"{batch.approach_version.approach}, batch {batch.number}"
    return " · ".join(
        f"{show_share(part.share_ppm)} {part.batch.approach_version.approach} ({part.batch.number})"
        for part in parts
    )


def matrix_of(table: Cupping) -> tuple[MatrixRow, ...]:
    """Return how far each taster is with each cup, cups in the order of their codes."""
    seats, cups = queries.seats_of(table), list(table.cups.order_by("code"))
    each = cells_per_cup(table)
    done = {
        (seat, cup): n
        for seat, cup, n in Rating.objects.filter(seat__cupping=table)
        .order_by()
        .values("seat", "cup")
        .annotate(n=Count("pk"))
        .values_list("seat", "cup", "n")
    }
    rows = []
    for seat in seats:
        counts = [(cup.code, done.get((seat.pk, cup.pk), 0)) for cup in cups]
        rows.append(
            MatrixRow(
                seat=seat,
                cells=tuple(_cell(code, n, each) for code, n in counts),
                filled=sum(n for _, n in counts),
                most=each * len(cups),
                finished="done" if seat.finished_at else "",
            )
        )
    return tuple(rows)


def _cell(code: str, n: int, most: int) -> MatrixCell:
    if not n:
        return MatrixCell(code, "none", "–")
    return MatrixCell(code, "done" if n >= most else "begun", "all" if n >= most else f"{n}/{most}")
