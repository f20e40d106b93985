"""Words as a table: what one taster said of one cup, in one cell, parted by commas."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from coupage.errors import FileProblem
from coupage.sheets import Column, Layout, Table, ratings_layout
from coupage.web.common.doors import numbered, rows_said
from coupage.web.common.exchange import Exchange, Plan
from coupage.web.cuppings.actions.imports import add_words
from coupage.web.cuppings.actions.ratings import split_words
from coupage.web.cuppings.models import Cup, Cupping, Rating, Seat, Word
from coupage.web.cuppings.tables.places import Place, places, shown_cup
from coupage.web.people.models import Person

__all__ = ["WORDS", "word_rows", "words_layout"]

_PLACE = ("cupping", "taster", "sample", "cup")


def words_layout() -> Layout:
    plain = {column.name: column for column in ratings_layout().columns}
    return Layout(
        "words",
        (
            *(plain[name] for name in _PLACE),
            Column(
                "words",
                "text",
                required=False,
                default="",
                aliases=("word", "note", "notes"),
                help="What it tastes of, parted by commas.",
            ),
        ),
        key=_PLACE,
        description="Free tasting words of one taster on one cup, for tables that are known.",
    )


def word_rows() -> Iterator[dict[str, object]]:
    """Give a row for every cup that a taster rated or named, with or without words."""
    said: dict[tuple[int, int], list[str]] = {}
    for seat, cup in Rating.objects.order_by().values_list("seat_id", "cup_id").distinct():
        said[seat, cup] = []
    for word in Word.objects.all():
        said.setdefault((word.seat_id, word.cup_id), []).append(word.text)
    seats = Seat.objects.select_related("taster").in_bulk({seat for seat, _ in said})
    valid = Cup.objects.filter(cupping__void=False).select_related("cupping", "sample")
    cups = {cup.pk: cup for cup in valid}
    rows = [(seats[s], cups[c], words) for (s, c), words in said.items() if c in cups]
    rows.sort(key=lambda p: (p[1].cupping.held_at, p[1].cupping_id, p[0].order, p[1].code))
    for by, of, words in rows:
        sample, number = shown_cup(of, blind=of.cupping.state != Cupping.State.REVEALED)
        yield {
            "cupping": of.cupping.name,
            "taster": by.taster.name,
            "sample": sample,
            "cup": number,
            "words": ", ".join(words),
        }


def _plan(table: Table) -> Plan:
    known = places({str(row["cupping"]) for row in table.rows})
    problems: list[FileProblem] = []
    words = 0
    for number, row in numbered(table):
        place, said = known.get(str(row["cupping"])), split_words(str(row["words"]))
        if place is None:
            problems.append(
                FileProblem(
                    number,
                    "cupping",
                    f"there is no table {row['cupping']!r}; bring its ratings first",
                )
            )
            continue
        if said and (place.table.void or place.table.state == Cupping.State.PLANNED):
            problems.append(FileProblem(number, "cupping", f"{place.table} is not open"))
        problems += place.problems(number, row)
        problems += [
            FileProblem(number, "words", f"{word[:20]!r}… has more than 40 letters; part by commas")
            for word in said
            if len(word) > 40
        ]
        words += len(said)
    return Plan((rows_said(words, "word", "words"),), tuple(problems))


def _apply(table: Table, *, by: Person, at: dt.datetime) -> str:
    known = places({str(row["cupping"]) for row in table.rows})
    said: dict[str, dict[tuple[int, int], list[str]]] = {}
    for row in table.rows:
        place: Place = known[str(row["cupping"])]
        cup = place.cup(row)
        assert cup is not None  # noqa: S101 - the plan found every cup before
        seat = place.seats[str(row["taster"])]
        said.setdefault(place.table.name, {})[cup.pk, seat.pk] = split_words(str(row["words"]))
    new = sum(
        add_words(cupping=known[name].table, words=words, by=by, at=at)
        for name, words in said.items()
    )
    return f"{rows_said(new, 'new word is', 'new words are')} in."


WORDS = Exchange("words", "Import words", words_layout, _plan, _apply, "cuppings:index")
