"""Dispatches as a table: one row for each lot and size; rows of a customer and day are one."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any

from coupage.errors import FileProblem
from coupage.sheets import Column, Layout, Table
from coupage.web.common.doors import numbered, rows_said
from coupage.web.common.exchange import Exchange, Plan
from coupage.web.orders.models import Customer
from coupage.web.people.models import Person
from coupage.web.production import actions, queries
from coupage.web.production.models import Dispatch, Packed

__all__ = ["DISPATCHES", "dispatch_rows", "dispatches_layout"]

Row = dict[str, Any]
Key = tuple[str, int]


def dispatches_layout() -> Layout:
    return Layout(
        "dispatches",
        (
            Column("customer", "text"),
            Column("day", "date", aliases=("on", "date")),
            Column("lot code", "text", aliases=("lot",)),
            Column("bag", "integer", unit="g", low=10, high=1_000_000),
            Column("bags", "integer", low=1, high=10_000, aliases=("count",)),
            Column("came back", "integer", required=False, default=0, low=0),
            Column("note", "text", required=False, default=""),
        ),
        description="Bags that left, by customer, lot and size. A file brings in new dispatches; "
        "what came back is entered on their pages.",
    )


def _shelf() -> dict[Key, queries.StockedPacked]:
    return {(row.run.lot_code, row.pack.bag_g): row for row in queries.packed()}


def _key(row: Row) -> Key:
    return str(row["lot code"]), int(row["bag"])


def _plan(table: Table) -> Plan:
    shelf, names = _shelf(), set(Customer.objects.values_list("name", flat=True))
    left = {key: row.on_hand for key, row in shelf.items()}
    sent = set(Dispatch.objects.filter(void=False).values_list("customer__name", "on"))
    problems: list[FileProblem] = []
    for number, found in numbered(table):
        row: Row = dict(found)
        key = _key(row)

        def wrong(column: str, says: str, number: int = number) -> None:
            problems.append(FileProblem(number, column, says))

        if row["customer"] not in names:
            wrong("customer", f"there is no customer {row['customer']!r}")
        if (row["customer"], row["day"]) in sent:
            wrong("day", f"{row['customer']} has a dispatch of that day; take the row out")
        if row["came back"]:
            wrong("came back", "is entered on the page of the dispatch; leave it empty")
        if key not in shelf:
            wrong("lot code", f"there are no bags of {key[1]} g of lot {key[0]!r}")
            continue
        if shelf[key].run.held:
            wrong("lot code", f"lot {key[0]} is on hold")
        left[key] -= row["bags"]
        if left[key] < 0:
            wrong("bags", f"only {shelf[key].on_hand} of these bags are on the shelf")
    count = len({(row["customer"], row["day"]) for row in table.rows})
    return Plan((rows_said(count, "new dispatch", "new dispatches"),), tuple(problems))


def _apply(table: Table, *, by: Person, at: dt.datetime) -> str:
    shelf: dict[Key, Packed] = dict(_shelf())
    customers = {customer.name: customer for customer in Customer.objects.all()}
    found: dict[tuple[str, dt.date], dict[Packed, int]] = {}
    notes: dict[tuple[str, dt.date], str] = {}
    for each in table.rows:
        row: Row = dict(each)
        group = (row["customer"], row["day"])
        bags, packed = found.setdefault(group, {}), shelf[_key(row)]
        bags[packed] = bags.get(packed, 0) + row["bags"]
        notes.setdefault(group, row["note"])
    for (name, on), bags in found.items():
        note = notes[name, on]
        actions.send_bags(customer=customers[name], bags=bags, on=on, note=note, by=by, at=at)
    return f"{rows_said(len(found), 'dispatch is', 'dispatches are')} in."


def dispatch_rows() -> Iterator[dict[str, object]]:
    lines = queries.sent_lines().filter(dispatch__void=False)
    for line in lines.order_by("dispatch__on", "dispatch", "id"):
        yield {
            "customer": line.dispatch.customer.name,
            "day": line.dispatch.on,
            "lot code": line.packed.run.lot_code,
            "bag": line.packed.pack.bag_g,
            "bags": line.sent,
            "came back": line.returned,
            "note": line.dispatch.note,
        }


DISPATCHES = Exchange(
    "dispatches",
    "Import dispatches",
    dispatches_layout,
    _plan,
    _apply,
    "production:dispatches",
)
