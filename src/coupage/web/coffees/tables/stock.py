"""The ledger as a table."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from coupage.errors import FileProblem
from coupage.sheets import Column, Layout, Table
from coupage.units import grams
from coupage.web.coffees import actions, queries
from coupage.web.coffees.models import Lot, StockEntry
from coupage.web.common.doors import kilograms, numbered, problems_of, rows_said
from coupage.web.common.exchange import Exchange, Plan
from coupage.web.people.models import Person


def stock_layout() -> Layout:
    return Layout(
        "stock",
        (
            Column("lot", "text"),
            Column("what", "choice", choices=tuple(StockEntry.Kind.values)),
            Column(
                "mass",
                "number",
                unit="kg",
                help="With a minus where stock shrinks.",
                aliases=("kg", "mass kg"),
            ),
            Column("date", "date", aliases=("on",)),
            Column("bags", "integer", required=False, low=1, high=10_000),
            Column("one bag", "number", required=False, unit="kg", low=Decimal("0.001")),
            Column("reason", "text", required=False, default=""),
        ),
        key=("lot", "what", "mass", "date", "reason"),
        description="Lines of the ledger. They are only ever added.",
    )


def _entry_of(row: dict[str, Any], lot: Lot | None) -> StockEntry:
    return StockEntry(
        lot=lot,
        kind=row["what"],
        mass_g=grams(row["mass"]),
        on=row["date"],
        bags=row["bags"],
        bag_g=None if row["one bag"] is None else grams(row["one bag"]),
        reason=row["reason"],
    )


def _ledger_key(entry: StockEntry) -> tuple[object, ...]:
    return (entry.lot_id, entry.kind, entry.mass_g, entry.on, entry.reason)


def _plan_stock(table: Table) -> Plan:
    lots = {lot.name: lot for lot in queries.lots()}
    there = {_ledger_key(entry) for entry in StockEntry.objects.all()}
    left = {lot.pk: lot.on_hand_g for lot in lots.values()}
    problems: list[FileProblem] = []
    columns = {"kind": "what", "mass_g": "mass", "on": "date", "reason": "reason", "bags": "bags"}
    for number, row in numbered(table):
        lot = lots.get(str(row["lot"]))
        if lot is None:
            problems.append(FileProblem(number, "lot", f"there is no lot {row['lot']!r}"))
            continue
        entry = _entry_of(row, lot)
        if _ledger_key(entry) in there:
            problems.append(
                FileProblem(number, "", "this line is in the ledger already; take it out here")
            )
            continue
        if entry.kind in {"count", "moisture"} and not entry.reason:
            problems.append(FileProblem(number, "reason", "say why the stock is corrected"))
        weighed = entry.bags * entry.bag_g if entry.bags and entry.bag_g else None
        if (entry.bags is None) != (entry.bag_g is None):
            problems.append(FileProblem(number, "one bag", "give bags and one bag, or neither"))
        elif weighed is not None and (weighed != entry.mass_g or entry.kind != "receipt"):
            text = "bags belong to receipts, and must weigh what the mass says"
            problems.append(FileProblem(number, "bags", text))
        left[lot.pk] += entry.mass_g
        if left[lot.pk] < 0:
            problems.append(
                FileProblem(number, "mass", f"the stock of {lot.name} would fall below nothing")
            )
        problems += problems_of(entry, number, columns, exclude=["by"])
    return Plan((rows_said(len(table.rows), "new line", "new lines"),), tuple(problems))


def _apply_stock(table: Table, *, by: Person, at: dt.datetime) -> str:
    lots = {lot.name: lot for lot in Lot.objects.all()}
    for row in table.rows:
        entry = _entry_of(row, lots[str(row["lot"])])
        actions.enter_stock(
            lot=entry.lot,
            kind=entry.kind,
            mass_g=entry.mass_g,
            on=entry.on,
            reason=entry.reason,
            bags=entry.bags,
            bag_g=entry.bag_g,
            by=by,
            at=at,
        )
    return f"{rows_said(len(table.rows), 'line is', 'lines are')} in the ledger."


def stock_rows() -> Iterator[dict[str, object]]:
    for entry in StockEntry.objects.select_related("lot").order_by("on", "id"):
        yield {
            "lot": entry.lot.name,
            "what": entry.kind,
            "mass": kilograms(entry.mass_g),
            "date": entry.on,
            "bags": entry.bags,
            "one bag": kilograms(entry.bag_g),
            "reason": entry.reason,
        }


STOCK = Exchange("stock", "Import stock", stock_layout, _plan_stock, _apply_stock, "coffees:index")
