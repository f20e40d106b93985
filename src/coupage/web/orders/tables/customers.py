"""Customers as a table."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any

from coupage.errors import FileProblem
from coupage.sheets import Column, Layout, Table
from coupage.web.common.doors import numbered, problems_of, rows_said
from coupage.web.common.exchange import Exchange, Plan
from coupage.web.orders import actions
from coupage.web.orders.models import Customer
from coupage.web.people.models import Person

_CUSTOMER = {"name": "customer", "address": "address", "note": "note"}


def customers_layout() -> Layout:
    return Layout(
        "customers",
        (
            Column("customer", "text", aliases=("name",)),
            Column("address", "text", required=False, default="", aliases=("delivery",)),
            Column("note", "text", required=False, default=""),
        ),
        key=("customer",),
        description="Cafés, shops and people; known ones are changed.",
    )


def _fill(customer: Customer, row: dict[str, Any]) -> Customer:
    for field, column in _CUSTOMER.items():
        setattr(customer, field, row[column])
    return customer


def _plan(table: Table) -> Plan:
    known = {customer.name: customer for customer in Customer.objects.all()}
    new = changed = 0
    problems: list[FileProblem] = []
    for number, row in numbered(table):
        there = known.get(str(row["customer"]))
        new += there is None
        changed += there is not None and _differs(there, row)
        problems += problems_of(_fill(Customer(), row), number, _CUSTOMER, unique=False)
    summary = (
        rows_said(new, "new customer", "new customers"),
        rows_said(changed, "changed customer", "changed customers"),
    )
    return Plan(summary, tuple(problems))


def _differs(customer: Customer, row: dict[str, Any]) -> bool:
    return any(getattr(customer, field) != row[column] for field, column in _CUSTOMER.items())


def _apply(table: Table, *, by: Person, at: dt.datetime) -> str:
    known = {customer.name: customer for customer in Customer.objects.all()}
    done = 0
    for row in table.rows:
        there = known.get(str(row["customer"]))
        if there is None:
            actions.add_customer(customer=_fill(Customer(), row), by=by, at=at)
        elif _differs(there, row):
            actions.change_customer(
                customer=_fill(there, row), revision=there.revision, by=by, at=at
            )
        else:
            continue
        done += 1
    return f"{rows_said(done, 'customer is', 'customers are')} new or changed."


def customer_rows() -> Iterator[dict[str, object]]:
    for customer in Customer.objects.all():
        yield {column: getattr(customer, field) for field, column in _CUSTOMER.items()}


CUSTOMERS = Exchange(
    "customers", "Import customers", customers_layout, _plan, _apply, "orders:customers"
)
