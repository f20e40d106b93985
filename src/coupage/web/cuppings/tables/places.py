"""Where a row of ratings or words belongs: its table, seat and cup, found by name."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from coupage.errors import FileProblem
from coupage.web.cuppings.models import (
    Attribute,
    Cup,
    Cupping,
    CuppingAttribute,
    CuppingPass,
    Seat,
)
from coupage.web.cuppings.names import folded

__all__ = ["Place", "places", "shown_cup"]

Row = Mapping[str, object]


@dataclass(frozen=True, slots=True)
class Place:
    """A table that is known, with all that a row may name of it."""

    table: Cupping
    seats: Mapping[str, Seat]
    cups: Mapping[tuple[str, int], Cup]
    rounds: Mapping[str, CuppingPass]
    asked: Mapping[str, Attribute]

    @property
    def blind(self) -> bool:
        return self.table.state != Cupping.State.REVEALED

    def cup(self, row: Row) -> Cup | None:
        """Return the cup that a row names, by its code or by its sample and number."""
        return self.cups.get((str(row["sample"]), number_of(row)))

    def round(self, row: Row) -> CuppingPass | None:
        """Return the pass that a row names; none is needed where there is only one."""
        if row["pass"] is None and len(self.rounds) == 1:
            return next(iter(self.rounds.values()))
        return self.rounds.get(str(row["pass"] or "").casefold())

    def problems(self, number: int, row: Row) -> Iterator[FileProblem]:
        """Say what a row names that is not at this table."""
        if str(row["taster"]) not in self.seats:
            yield FileProblem(
                number,
                "taster",
                f"{row['taster']} has no seat at {self.table}; seats: {listed(self.seats)}",
            )
        if self.cup(row) is None:
            known = sorted({cup.code for cup in self.cups.values()})
            yield FileProblem(
                number,
                "sample",
                f"there is no cup {number_of(row)} of {row['sample']!r} at {self.table}; name the "
                f"sample as it is known here, or a code ({', '.join(known[:12])})",
            )


def number_of(row: Row) -> int:
    number = row.get("cup")
    return number if isinstance(number, int) else 1


def listed(names: Mapping[str, object]) -> str:
    return ", ".join(list(names)[:12]) or "none"


def shown_cup(cup: Cup, *, blind: bool) -> tuple[str, int]:
    """Return sample and cup number as a file shows them: under the code until the reveal."""
    return (cup.code, 1) if blind else (cup.sample.label, cup.number)


def places(names: set[str]) -> dict[str, Place]:
    """Return the tables of these names; five queries, however many they are."""
    tables = {table.pk: table for table in Cupping.objects.filter(name__in=names)}
    seats: dict[int, dict[str, Seat]] = {pk: {} for pk in tables}
    cups: dict[int, dict[tuple[str, int], Cup]] = {pk: {} for pk in tables}
    rounds: dict[int, dict[str, CuppingPass]] = {pk: {} for pk in tables}
    asked: dict[int, dict[str, Attribute]] = {pk: {} for pk in tables}
    for seat in Seat.objects.filter(cupping__in=tables).select_related("taster"):
        seats[seat.cupping_id][seat.taster.name] = seat
    for cup in Cup.objects.filter(cupping__in=tables).select_related("sample"):
        cups[cup.cupping_id][cup.code, 1] = cup
        cups[cup.cupping_id][cup.sample.label, cup.number] = cup
    for round_ in CuppingPass.objects.filter(cupping__in=tables):
        rounds[round_.cupping_id][round_.name.casefold()] = round_
    entries = CuppingAttribute.objects.filter(cupping__in=tables).select_related("attribute")
    for entry in entries:
        asked[entry.cupping_id][folded(entry.attribute.name)] = entry.attribute
    return {
        table.name: Place(table, seats[pk], cups[pk], rounds[pk], asked[pk])
        for pk, table in tables.items()
    }
