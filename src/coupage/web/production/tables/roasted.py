"""The ledger of roasted coffee as a table."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any

from coupage.errors import FileProblem
from coupage.sheets import Column, Layout, Table
from coupage.units import grams
from coupage.web.batches.models import Batch, RoastedEntry
from coupage.web.batches.queries import stocked
from coupage.web.batches.roasted import enter_roasted
from coupage.web.common.doors import kilograms, numbered, rows_said
from coupage.web.common.exchange import Exchange, Plan
from coupage.web.people.models import Person

__all__ = ["ROASTED", "roasted_layout", "roasted_rows"]

BY_HAND = {"tasted", "wasted", "count"}
Row = dict[str, Any]


def roasted_layout() -> Layout:
    return Layout(
        "roasted",
        (
            Column("batch", "text"),
            Column("what", "choice", choices=tuple(RoastedEntry.Kind.values)),
            Column("mass", "number", unit="kg", help="With a minus where stock shrinks."),
            Column("date", "date", aliases=("on", "day")),
            Column("reason", "text", required=False, default=""),
        ),
        description="Lines of the ledger of roasted coffee. A file brings in what was tasted, "
        "wasted or counted; blending writes its own lines.",
    )


def _plan(table: Table) -> Plan:
    left = {batch.number: batch.on_hand_g for batch in stocked()}
    there: set[tuple[object, ...]] = {
        (e.batch.number, e.kind, e.mass_g, e.on, e.reason)
        for e in RoastedEntry.objects.select_related("batch")
    }
    problems: list[FileProblem] = []
    for number, row in numbered(table):
        problems += [FileProblem(number, *found) for found in _faults(dict(row), left, there)]
    return Plan((rows_said(len(table.rows), "new line", "new lines"),), tuple(problems))


def _faults(
    row: Row, left: dict[str, int], there: set[tuple[object, ...]]
) -> Iterator[tuple[str, str]]:
    name, mass_g = str(row["batch"]), grams(row["mass"])
    line = (name, row["what"], mass_g, row["date"], row["reason"])
    if name not in left:
        yield "batch", f"there is no batch {name!r}"
        return
    if line in there:
        yield "", "this line is in the ledger already; take it out here"
        return
    there.add(line)
    if row["what"] not in BY_HAND:
        yield "what", "is written by blending itself; take this row out"
    if row["what"] != "tasted" and not row["reason"]:
        yield "reason", "say why"
    if mass_g == 0 or (mass_g > 0 and row["what"] != "count"):
        yield "mass", "what is tasted or wasted leaves: give it with a minus"
    left[name] += mass_g
    if left[name] < 0:
        yield "mass", f"the stock of batch {name} would fall below nothing"


def _apply(table: Table, *, by: Person, at: dt.datetime) -> str:
    batches = {batch.number: batch for batch in Batch.objects.all()}
    for found in table.rows:
        row: Row = dict(found)
        enter_roasted(
            batch=batches[row["batch"]],
            kind=row["what"],
            mass_g=grams(row["mass"]),
            on=row["date"],
            reason=row["reason"],
            by=by,
            at=at,
        )
    return f"{rows_said(len(table.rows), 'line is', 'lines are')} in the ledger."


def roasted_rows() -> Iterator[dict[str, object]]:
    for entry in RoastedEntry.objects.select_related("batch").order_by("on", "id"):
        yield {
            "batch": entry.batch.number,
            "what": entry.kind,
            "mass": kilograms(entry.mass_g),
            "date": entry.on,
            "reason": entry.reason,
        }


ROASTED = Exchange(
    "roasted", "Import roasted stock", roasted_layout, _plan, _apply, "production:roasted"
)
