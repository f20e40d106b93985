"""Lots as a table."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from django.utils import timezone

from coupage.errors import FileProblem
from coupage.sheets import Column, Layout, Table
from coupage.units import grams
from coupage.web.coffees import actions, queries
from coupage.web.coffees.models import Lot, Process, Species
from coupage.web.common.doors import kilograms, numbered, problems_of, rows_said
from coupage.web.common.exchange import Exchange, Plan
from coupage.web.people.models import Person

_COLUMNS = {
    "name": "lot",
    "origin": "origin",
    "region": "region",
    "producer": "producer",
    "process": "process",
    "species": "species",
    "decaffeinated": "decaffeinated",
    "crop_year": "crop year",
    "moisture_pct": "moisture",
    "price_per_kg": "landed price",
    "bag_g": "bag",
    "note": "note",
}


def lots_layout() -> Layout:
    return Layout(
        "lots",
        (
            Column("lot", "text", help="Name of the lot; each name once.", aliases=("name",)),
            Column("origin", "text", aliases=("country",)),
            Column("region", "text", required=False, default=""),
            Column("producer", "text", required=False, default=""),
            Column("process", "choice", choices=tuple(Process.values)),
            Column(
                "species",
                "choice",
                required=False,
                choices=tuple(Species.values),
                default=Species.ARABICA.value,
            ),
            Column("decaffeinated", "yes-no", required=False, default=False),
            Column("crop year", "text", required=False, default=""),
            Column("moisture", "number", required=False, low=2, high=30, unit="%"),
            Column(
                "landed price",
                "number",
                required=False,
                low=0,
                help="Per kg of green coffee.",
                aliases=("price",),
            ),
            Column("bag", "number", required=False, low=Decimal("0.001"), unit="kg"),
            Column(
                "on hand",
                "number",
                required=False,
                unit="kg",
                help="Of a new lot: what has arrived. Of a known one: as in the books, or empty.",
            ),
            Column("received on", "date", required=False),
            Column("note", "text", required=False, default=""),
        ),
        key=("lot",),
        description="Lots of green coffee. A lot that is known already is changed.",
    )


def _lot_of(row: dict[str, Any], lot: Lot) -> Lot:
    for field, column in _COLUMNS.items():
        value = row[column]
        if field == "bag_g":
            value = None if value is None else grams(value)
        setattr(lot, field, value)
    return lot


def _plan_lots(table: Table) -> Plan:
    known = {lot.name: lot for lot in queries.lots()}
    problems: list[FileProblem] = []
    new = changed = 0
    for number, row in numbered(table):
        there = known.get(str(row["lot"]))
        on_hand: Any = row["on hand"]
        if there is None:
            new += 1
            if on_hand is not None and on_hand < 0:
                problems.append(FileProblem(number, "on hand", "must be at least 0 kg"))
        else:
            if on_hand is not None and grams(on_hand) != there.on_hand_g:
                problems.append(
                    FileProblem(
                        number,
                        "on hand",
                        f"the books say {kilograms(there.on_hand_g)} kg; leave the cell empty, "
                        "and bring receipts and corrections in by the stock table",
                    )
                )
            before = [getattr(there, field) for field in _COLUMNS]
            changed += before != [getattr(_lot_of(row, there), field) for field in _COLUMNS]
        problems += problems_of(
            _lot_of(row, there or Lot()), number, _COLUMNS, unique=there is None
        )
    return Plan(
        (
            rows_said(new, "new lot", "new lots"),
            rows_said(changed, "known lot changes", "known lots change"),
        ),
        tuple(problems),
    )


def _apply_lots(table: Table, *, by: Person, at: dt.datetime) -> str:
    known = {lot.name: lot for lot in Lot.objects.all()}
    for row in table.rows:
        there = known.get(str(row["lot"]))
        if there is None:
            received: Any = row["on hand"]
            on: Any = row["received on"]
            actions.add_lot(
                lot=_lot_of(row, Lot()),
                received_g=grams(received) if received else 0,
                on=on or timezone.localdate(at),
                by=by,
                at=at,
            )
        elif [getattr(there, field) for field in _COLUMNS] != [
            getattr(_lot_of(row, there), field) for field in _COLUMNS
        ]:
            actions.change_lot(lot=there, revision=there.revision, by=by, at=at)
    return f"{rows_said(len(table.rows), 'lot is', 'lots are')} in."


def lot_rows() -> Iterator[dict[str, object]]:
    for lot in queries.lots().order_by("name"):
        row: dict[str, object] = {column: getattr(lot, field) for field, column in _COLUMNS.items()}
        yield row | {
            "bag": kilograms(lot.bag_g),
            "on hand": kilograms(lot.on_hand_g),
            "received on": None,
        }


LOTS = Exchange("lots", "Import lots", lots_layout, _plan_lots, _apply_lots, "coffees:index")
