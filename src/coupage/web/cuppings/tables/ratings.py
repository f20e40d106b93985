"""Ratings as a table, one rating a row or one column per attribute.

Until the reveal a cup goes out under its code, so that a file tells no more than the table does.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal

from coupage.errors import FileProblem
from coupage.sheets import Layout, Table, ratings_layout, read_ratings, wide_from_long, wide_layout
from coupage.web.common.dates import day_text
from coupage.web.common.doors import numbered, rows_said
from coupage.web.common.exchange import Exchange, Plan
from coupage.web.cuppings.actions.imports import (
    NewCup,
    NewRating,
    add_ratings,
    record_cupping,
)
from coupage.web.cuppings.models import Attribute, Cupping, Protocol, Rating, Sample, Taster
from coupage.web.cuppings.names import folded
from coupage.web.cuppings.tables.places import Place, listed, number_of, places, shown_cup
from coupage.web.people.models import Person

__all__ = [
    "RATINGS",
    "RATINGS_WIDE",
    "rating_rows",
    "wide_ratings_layout",
    "wide_ratings_rows",
]

_UNNAMED = "taste"
_DATE = re.compile(r"(\d{4})-(\d{2})-(\d{2})")
Row = dict[str, object]


# --- out -----------------------------------------------------------------------------------------


def rating_rows() -> Iterator[dict[str, object]]:
    ratings = (
        Rating.objects.filter(cup__cupping__void=False)
        .select_related("cup__cupping", "cup__sample", "seat__taster", "round", "attribute")
        .order_by(
            "cup__cupping__held_at",
            "cup__cupping",
            "round__order",
            "seat__order",
            "cup__code",
            "attribute__order",
            "attribute__name",
        )
    )
    for rating in ratings.iterator(chunk_size=2000):
        table = rating.cup.cupping
        sample, cup = shown_cup(rating.cup, blind=table.state != Cupping.State.REVEALED)
        yield {
            "cupping": table.name,
            "taster": rating.seat.taster.name,
            "sample": sample,
            "attribute": rating.attribute.name,
            "rating": rating.value.normalize(),
            "cup": cup,
            "pass": rating.round.name,
        }


def wide_ratings_layout() -> Layout:
    return replace(
        wide_layout(list(Attribute.objects.values_list("name", flat=True))), name="ratings wide"
    )


def wide_ratings_rows() -> list[dict[str, object]]:
    rows, _ = wide_from_long(rating_rows())  # type: ignore[arg-type]
    return rows  # type: ignore[return-value]


# --- in ------------------------------------------------------------------------------------------


def _by_cupping(table: Table) -> dict[str, list[tuple[int, Row]]]:
    found: dict[str, list[tuple[int, Row]]] = {}
    for number, row in numbered(table):
        found.setdefault(str(row["cupping"]), []).append((number, row))
    return found


def _plan(table: Table) -> Plan:
    groups = _by_cupping(table)
    known = places(set(groups))
    problems: list[FileProblem] = []
    summary: list[str] = []
    for name, rows in groups.items():
        place = known.get(name)
        if place is None:
            problems += _new_problems(name, rows)
            held = _held(name)
            when = f"held {day_text(held)}" if held else "held today, which you can correct"
            said = rows_said(len(rows), "rating", "ratings")
            summary.append(f"a new table, revealed: {name}, {when}, {said}")
        else:
            found, new = _known_problems(place, rows)
            problems += found
            there = rows_said(len(rows) - new, "is there already", "are there already")
            summary.append(f"{name}: {rows_said(new, 'new rating', 'new ratings')}, {there}")
    problems += [
        FileProblem(number, str(row["attribute"]), f"{row['rating']} has more than two decimals")
        for number, row in numbered(table)
        if isinstance(row["rating"], Decimal) and row["rating"] != round(row["rating"], 2)
    ]
    return Plan(tuple(summary), tuple(sorted(problems, key=lambda p: p.row)))


def _held(name: str) -> dt.date | None:
    """Return the day that a table's name tells, if it tells one."""
    found = _DATE.search(name)
    try:
        return dt.date(*map(int, found.groups())) if found else None
    except ValueError:
        return None


def _new_problems(name: str, rows: list[tuple[int, Row]]) -> Iterator[FileProblem]:
    first = rows[0][0]
    if len(name) > 80:
        yield FileProblem(first, "cupping", "has more than 80 letters")
    if not Protocol.objects.exists():
        yield FileProblem(first, "cupping", "write a protocol first; a table needs one")
    tasters = set(Taster.objects.values_list("name", flat=True))
    samples = set(Sample.objects.filter(sealed=True).values_list("label", flat=True))
    attributes = {folded(a): a for a in Attribute.objects.values_list("name", flat=True)}
    for number, row in rows:
        taster, sample, attribute = (str(row[k]) for k in ("taster", "sample", "attribute"))
        if taster not in tasters:
            yield FileProblem(
                number, "taster", f"there is no taster {taster!r}; add them, or mend the name"
            )
        if sample not in samples:
            yield FileProblem(
                number, "sample", f"there is no sample {sample!r}; bring the samples in first"
            )
        if folded(attribute) not in attributes:
            yield FileProblem(
                number,
                "attribute",
                f"there is no attribute {attribute!r}; add it, or use one of {listed(attributes)}",
            )
        if len(str(row["pass"] or "")) > 30:
            yield FileProblem(number, "pass", "has more than 30 letters")


def _known_problems(place: Place, rows: list[tuple[int, Row]]) -> tuple[list[FileProblem], int]:
    """Return what is wrong, and how many ratings are new."""
    table, problems, new = place.table, [], 0
    kept = {
        (r.cup_id, r.seat_id, r.round_id, r.attribute_id): r.value
        for r in Rating.objects.filter(cup__cupping=table)
    }
    seen: dict[tuple[int, int, int, int], int] = {}
    for number, row in rows:
        wrong = [*place.problems(number, row), *_asked_problems(place, number, row)]
        problems += wrong
        if wrong:
            continue
        key = _key(place, row)
        if key in seen:
            problems.append(
                FileProblem(number, "sample", f"rates the cell of row {seen[key]} once more")
            )
        seen.setdefault(key, number)
        if key not in kept:
            new += 1
        elif kept[key] != row["rating"]:
            problems.append(
                FileProblem(
                    number,
                    str(row["attribute"]),
                    f"this cell holds {kept[key].normalize():f} already; change it on the sheet, "
                    "or take the row out",
                )
            )
    if (new or problems) and (table.void or table.state != Cupping.State.OPEN):
        state = "void" if table.void else table.get_state_display()
        problems.insert(
            0,
            FileProblem(
                rows[0][0],
                "cupping",
                f"{table} is {state}; ratings can only be added to a table that is open",
            ),
        )
    return problems, new


def _asked_problems(place: Place, number: int, row: Row) -> Iterator[FileProblem]:
    if place.round(row) is None:
        yield FileProblem(
            number,
            "pass",
            f"{place.table} has no pass {row['pass'] or ''!r}; use one of {listed(place.rounds)}",
        )
    if folded(str(row["attribute"])) not in place.asked:
        yield FileProblem(
            number,
            "attribute",
            f"{place.table} does not ask for {row['attribute']!r}; it asks for "
            f"{listed(place.asked)}",
        )


def _key(place: Place, row: Row) -> tuple[int, int, int, int]:
    cup, round_ = place.cup(row), place.round(row)
    assert cup is not None  # noqa: S101 - the plan found every name before
    assert round_ is not None  # noqa: S101
    seat = place.seats[str(row["taster"])]
    return cup.pk, seat.pk, round_.pk, place.asked[folded(str(row["attribute"]))].pk


def _apply(table: Table, *, by: Person, at: dt.datetime) -> str:
    groups = _by_cupping(table)
    known = places(set(groups))
    for name, rows in groups.items():
        if name in known:
            place = known[name]
            values = {_key(place, row): Decimal(str(row["rating"])) for _, row in rows}
            add_ratings(cupping=place.table, values=values, by=by, at=at)
        else:
            record_cupping(
                name=name,
                held_on=_held(name),
                ratings=[_new_rating(row) for _, row in rows],
                by=by,
                at=at,
            )
    return f"{rows_said(len(table.rows), 'rating is', 'ratings are')} in."


def _new_rating(row: Row) -> NewRating:
    return NewRating(
        taster=str(row["taster"]),
        cup=NewCup(str(row["sample"]), number_of(row)),
        pass_name=str(row["pass"] or _UNNAMED),
        attribute=folded(str(row["attribute"])),
        value=Decimal(str(row["rating"])),
    )


_HELP = (
    "One rating a row, or a column per attribute; the headings tell which. A table that is not "
    "known yet is made, revealed; an open one is filled by code or sample."
)
RATINGS = Exchange(
    "ratings",
    "Import ratings",
    ratings_layout,
    _plan,
    _apply,
    "cuppings:index",
    read=read_ratings,
    help=_HELP,
)
RATINGS_WIDE = Exchange(
    "ratings-wide",
    "Import ratings, a column per attribute",
    wide_ratings_layout,
    _plan,
    _apply,
    "cuppings:index",
    read=read_ratings,
    help=_HELP,
)
