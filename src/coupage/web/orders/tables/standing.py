"""Standing orders as a table: one row for each blend and bag size."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any

from coupage.errors import FileProblem
from coupage.sheets import Column, Layout, Table
from coupage.web.common.doors import numbered, rows_said
from coupage.web.common.exchange import Exchange, Plan
from coupage.web.orders import actions, queries
from coupage.web.orders.models import StandingOrder
from coupage.web.orders.tables.lines import LINE_COLUMNS, Names
from coupage.web.people.models import Person

Rows = list[tuple[int, dict[str, Any]]]
_HEAD = ("customer", "day", "every", "from", "until")


def standing_layout() -> Layout:
    days = tuple(StandingOrder.Weekday.labels)
    return Layout(
        "standing-orders",
        (
            Column("customer", "text"),
            Column("day", "choice", choices=days, aliases=("weekday", "day of the week")),
            Column("every", "integer", required=False, unit="weeks", low=1, high=13, default=1),
            Column("from", "date", aliases=("since",)),
            Column("until", "date", required=False),
            *LINE_COLUMNS,
            Column("note", "text", required=False, default=""),
        ),
        key=(*_HEAD[:2], "from", "blend", "bag"),
        description="Standing orders, one row for each blend and bag size. Rows of one customer, "
        "day and beginning are one standing order. Known ones are not changed by a file.",
    )


def _grouped(table: Table) -> dict[tuple[Any, ...], Rows]:
    found: dict[tuple[Any, ...], Rows] = {}
    for number, row in numbered(table):
        found.setdefault((row["customer"], row["day"], row["from"]), []).append((number, row))
    return found


def _plan(table: Table) -> Plan:
    names = Names()
    known = {
        (each.customer.name, each.get_weekday_display(), each.since)
        for each in queries.standing_orders().filter(archived=False)
    }
    problems: list[FileProblem] = []
    orders = _grouped(table)
    for key, rows in orders.items():
        first = rows[0][1]
        for number, row in rows:
            problems += names.problems(number, row)
            for column in ("every", "until"):
                if row[column] != first[column]:
                    text = f"row {rows[0][0]} of this standing order says something else"
                    problems.append(FileProblem(number, column, text))
            if row["until"] is not None and row["until"] < row["from"]:
                problems.append(FileProblem(number, "until", "is before it begins"))
        if key in known:
            text = "this standing order is known already; take its rows out"
            problems.append(FileProblem(rows[0][0], "customer", text))
    summary = rows_said(len(orders), "new standing order", "new standing orders")
    return Plan((summary,), tuple(problems))


def _apply(table: Table, *, by: Person, at: dt.datetime) -> str:
    names, days = Names(), list(StandingOrder.Weekday.labels)
    orders = _grouped(table)
    for rows in orders.values():
        first = rows[0][1]
        standing = StandingOrder(
            customer=names.customers[str(first["customer"])],
            weekday=days.index(str(first["day"])),
            every_weeks=first["every"],
            since=first["from"],
            until=first["until"],
            note=first["note"],
        )
        lines = [names.line(row) for _, row in rows]
        actions.add_standing(standing=standing, lines=lines, by=by, at=at)
    return f"{rows_said(len(orders), 'standing order is', 'standing orders are')} in."


def standing_rows() -> Iterator[dict[str, object]]:
    for standing in queries.standing_orders().filter(archived=False):
        for line in standing.lines.all():
            yield {
                "customer": standing.customer.name,
                "day": standing.get_weekday_display(),
                "every": standing.every_weeks,
                "from": standing.since,
                "until": standing.until,
                "blend": line.blend.name,
                "bag": line.bag_g,
                "bags": line.bags,
                "note": standing.note,
            }


STANDING = Exchange(
    "standing-orders",
    "Import standing orders",
    standing_layout,
    _plan,
    _apply,
    "orders:standing",
)
