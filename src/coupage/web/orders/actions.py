"""Writes about customers and orders, one transaction each."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from typing import Any

from django.db import transaction

from coupage.errors import InputError
from coupage.web.blends.models import Blend
from coupage.web.common.dates import day_text
from coupage.web.common.revisions import take_revision
from coupage.web.orders import queries
from coupage.web.orders.models import (
    Customer,
    Expectation,
    Order,
    OrderLine,
    StandingLine,
    StandingOrder,
)
from coupage.web.people import history
from coupage.web.people.models import Person

__all__ = [
    "Wanted",
    "add_customer",
    "add_order",
    "add_standing",
    "change_customer",
    "change_order",
    "change_standing",
    "expect",
    "move_order",
    "write_standing",
]

CUSTOMER_FIELDS = ("name", "address", "note", "archived")
ORDER_FIELDS = ("number", "customer", "due_on", "due_time", "note")
STANDING_FIELDS = ("customer", "weekday", "every_weeks", "since", "until", "note", "archived")

Wanted = tuple[Blend, int, int]
"""A blend, the grams of one bag, and how many bags."""


@transaction.atomic
def add_customer(*, customer: Customer, by: Person, at: dt.datetime) -> Customer:
    """Save a new customer."""
    customer.full_clean()
    customer.save()
    after = history.snapshot(customer, CUSTOMER_FIELDS)
    history.record(customer, verb="added", by=by, at=at, after=after)
    return customer


@transaction.atomic
def change_customer(*, customer: Customer, revision: int, by: Person, at: dt.datetime) -> Customer:
    """Save a customer's changed fields, unless somebody else saved them meanwhile."""
    before = history.snapshot(Customer.objects.get(pk=customer.pk), CUSTOMER_FIELDS)
    take_revision(Customer, customer.pk, revision)
    customer.full_clean()
    customer.save(update_fields=CUSTOMER_FIELDS)
    after = history.snapshot(customer, CUSTOMER_FIELDS)
    history.record(customer, verb="changed", by=by, at=at, before=before, after=after)
    return customer


@transaction.atomic
def add_order(*, order: Order, lines: Sequence[Wanted], by: Person, at: dt.datetime) -> Order:
    """Save a new order with its lines; an empty number becomes the next one."""
    order.number = order.number or queries.next_number()
    order.full_clean()
    order.save()
    _write_lines(OrderLine, {"order": order}, lines)
    after = history.snapshot(order, ORDER_FIELDS) | {"lines": _said(lines)}
    history.record(order, verb="added", by=by, at=at, after=after)
    return order


@transaction.atomic
def change_order(
    *, order: Order, lines: Sequence[Wanted], revision: int, by: Person, at: dt.datetime
) -> Order:
    """Save an order's changed fields and lines, unless somebody else saved it meanwhile.

    Raises
    ------
    StaleError
        When the order's revision is no longer ``revision``.
    InputError
        When it was packed, sent or called off: what is in the bags stays written as it was.
    """
    kept = Order.objects.get(pk=order.pk)
    if kept.state != Order.State.OPEN:
        raise InputError(f"{kept} is {kept.state}; open it again before changing it")
    before = history.snapshot(kept, ORDER_FIELDS) | {"lines": _said(_lines_of(kept.lines.all()))}
    take_revision(Order, order.pk, revision)
    order.full_clean()
    order.save(update_fields=ORDER_FIELDS)
    kept.lines.all().delete()
    _write_lines(OrderLine, {"order": order}, lines)
    after = history.snapshot(order, ORDER_FIELDS) | {"lines": _said(lines)}
    history.record(order, verb="changed", by=by, at=at, before=before, after=after)
    return order


@transaction.atomic
def move_order(*, order: Order, state: str, by: Person, at: dt.datetime) -> Order:
    """Say that an order is packed, sent, called off, or open again.

    Raises
    ------
    InputError
        When the state is unknown, or the order has it already.
    """
    if state not in Order.State.values:
        raise InputError(f"state: {state!r} is not one of {', '.join(Order.State.values)}")
    order = Order.objects.select_for_update().get(pk=order.pk)
    if order.state == state:
        raise InputError(f"{order} is {state} already")
    before = {"state": order.state}
    order.state = state
    order.save(update_fields=["state"])
    history.record(order, verb=state, by=by, at=at, before=before, after={"state": state})
    return order


@transaction.atomic
def add_standing(
    *, standing: StandingOrder, lines: Sequence[Wanted], by: Person, at: dt.datetime
) -> StandingOrder:
    """Save a new standing order with its lines."""
    standing.full_clean()
    standing.save()
    _write_lines(StandingLine, {"standing": standing}, lines)
    after = history.snapshot(standing, STANDING_FIELDS) | {"lines": _said(lines)}
    history.record(standing, verb="added", by=by, at=at, after=after)
    return standing


@transaction.atomic
def change_standing(
    *,
    standing: StandingOrder,
    lines: Sequence[Wanted],
    revision: int,
    by: Person,
    at: dt.datetime,
) -> StandingOrder:
    """Save a standing order; orders that were written from it before stay as they are."""
    kept = StandingOrder.objects.get(pk=standing.pk)
    before = history.snapshot(kept, STANDING_FIELDS)
    before |= {"lines": _said(_lines_of(kept.lines.all()))}
    take_revision(StandingOrder, standing.pk, revision)
    standing.full_clean()
    standing.save(update_fields=STANDING_FIELDS)
    kept.lines.all().delete()
    _write_lines(StandingLine, {"standing": standing}, lines)
    after = history.snapshot(standing, STANDING_FIELDS) | {"lines": _said(lines)}
    history.record(standing, verb="changed", by=by, at=at, before=before, after=after)
    return standing


@transaction.atomic
def write_standing(*, first: dt.date, last: dt.date, by: Person, at: dt.datetime) -> list[Order]:
    """Write down the orders that standing orders ask for between two days; each comes once."""
    made = []
    for standing, day in queries.standing_missing(first, last):
        order = Order(customer=standing.customer, due_on=day, standing=standing)
        lines = _lines_of(standing.lines.all())
        made.append(add_order(order=order, lines=lines, by=by, at=at))
    return made


@transaction.atomic
def expect(
    *,
    blend: Blend,
    week: dt.date,
    mass_g: int | None,
    by: Person,
    at: dt.datetime,
    note: str = "",
) -> None:
    """Set the roaster's own number for a blend and a week; None goes back to the forecast."""
    if week.weekday():
        raise InputError(f"week: {day_text(week)} is no Monday; weeks are named by their Monday")
    there = Expectation.objects.select_for_update().filter(blend=blend, week=week).first()
    before = {"mass_g": there.mass_g} if there else {}
    if mass_g is None:
        Expectation.objects.filter(blend=blend, week=week).delete()
    else:
        row = there or Expectation(blend=blend, week=week)
        row.mass_g, row.note, row.by = mass_g, note, by
        row.full_clean()
        row.save()
    history.record(
        blend,
        verb=f"expected of the week of {day_text(week)}:",
        by=by,
        at=at,
        before=before,
        after={} if mass_g is None else {"mass_g": mass_g},
        note=note,
    )


def _write_lines(model: type[Any], of: dict[str, Any], lines: Sequence[Wanted]) -> None:
    if not lines:
        raise InputError("lines: an order holds at least one blend; say what is wanted")
    for blend, bag_g, bags in lines:
        line = model(**of, blend=blend, bag_g=bag_g, bags=bags)
        line.full_clean()
        line.save()


def _lines_of(lines: Iterable[OrderLine | StandingLine]) -> list[Wanted]:
    return [(line.blend, line.bag_g, line.bags) for line in lines]


def _said(lines: Sequence[Wanted]) -> list[str]:
    return [f"{bags} × {bag_g} g {blend}" for blend, bag_g, bags in lines]
