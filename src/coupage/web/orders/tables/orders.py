"""Orders as a table: one row for each blend and bag size; rows of one number are one order."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any

from coupage.errors import FileProblem
from coupage.sheets import Column, Layout, Table
from coupage.web.common.doors import numbered, rows_said
from coupage.web.common.exchange import Exchange, Plan
from coupage.web.orders import actions, queries
from coupage.web.orders.models import Order
from coupage.web.orders.tables.lines import LINE_COLUMNS, Names
from coupage.web.people.models import Person

Rows = list[tuple[int, dict[str, Any]]]


def orders_layout() -> Layout:
    return Layout(
        "orders",
        (
            Column(
                "order",
                "text",
                required=False,
                default="",
                aliases=("number", "order number"),
                help="Empty: rows of one customer and day become one order with the next number.",
            ),
            Column("customer", "text"),
            Column("due on", "date", aliases=("due", "date", "delivery date")),
            Column(
                "roasted by",
                "text",
                required=False,
                default="",
                help="A time such as 13:30, only where it must leave within the day.",
            ),
            *LINE_COLUMNS,
            Column(
                "state",
                "choice",
                required=False,
                choices=tuple(Order.State.values),
                default="open",
            ),
            Column("note", "text", required=False, default=""),
        ),
        key=("order", "customer", "due on", "blend", "bag"),
        description="Orders, one row for each blend and bag size. Known orders are not changed by "
        "a file; change them on their page.",
    )


def _grouped(table: Table) -> dict[tuple[Any, ...], Rows]:
    """Put the rows of one order together, in the order of the file."""
    found: dict[tuple[Any, ...], Rows] = {}
    for number, row in numbered(table):
        key = (row["order"],) if row["order"] else ("", row["customer"], row["due on"])
        found.setdefault(key, []).append((number, row))
    return found


def _plan(table: Table) -> Plan:
    names, known = Names(), set(Order.objects.values_list("number", flat=True))
    problems: list[FileProblem] = []
    orders = _grouped(table)
    for rows in orders.values():
        first = rows[0][1]
        for number, row in rows:
            problems += names.problems(number, row)
            if row["roasted by"] and _time(row["roasted by"]) is None:
                text = f"{row['roasted by']!r} is no time; write it like 13:30"
                problems.append(FileProblem(number, "roasted by", text))
            for column in ("customer", "due on", "roasted by", "state"):
                if row[column] != first[column]:
                    text = f"order {row['order']} has another {column} in row {rows[0][0]}"
                    problems.append(FileProblem(number, column, text))
        if first["order"] in known:
            text = f"order {first['order']} is known already; take its rows out"
            problems.append(FileProblem(rows[0][0], "order", text))
        elif len(str(first["order"])) > 20:
            problems.append(FileProblem(rows[0][0], "order", "is longer than 20 letters"))
    return Plan((rows_said(len(orders), "new order", "new orders"),), tuple(problems))


def _time(text: str) -> dt.time | None:
    """Read a time of the day; None where it is none."""
    try:
        return dt.time.fromisoformat(text.strip().zfill(5)).replace(second=0, microsecond=0)
    except ValueError:
        return None


def _apply(table: Table, *, by: Person, at: dt.datetime) -> str:
    names = Names()
    orders = _grouped(table)
    for rows in orders.values():
        first = rows[0][1]
        order = Order(
            number=first["order"],
            customer=names.customers[str(first["customer"])],
            due_on=first["due on"],
            due_time=_time(first["roasted by"]),
            state=first["state"],
            note=first["note"],
        )
        lines = [names.line(row) for _, row in rows]
        actions.add_order(order=order, lines=lines, by=by, at=at)
    return f"{rows_said(len(orders), 'order is', 'orders are')} in."


def order_rows() -> Iterator[dict[str, object]]:
    for order in queries.orders().order_by("due_on", "id"):
        for line in order.lines.all():
            yield {
                "order": order.number,
                "customer": order.customer.name,
                "due on": order.due_on,
                "roasted by": f"{order.due_time:%H:%M}" if order.due_time else "",
                "blend": line.blend.name,
                "bag": line.bag_g,
                "bags": line.bags,
                "state": order.state,
                "note": order.note,
            }


ORDERS = Exchange("orders", "Import orders", orders_layout, _plan, _apply, "orders:index")
