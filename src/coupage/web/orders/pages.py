"""All that the pages about customers and orders show."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Count, Q
from django.http import Http404

from coupage.units import MassUnit, show_mass
from coupage.web.common.dates import day_text
from coupage.web.common.listing import Choice, Filter, Listing
from coupage.web.common.requests import Request
from coupage.web.orders import queries
from coupage.web.orders.models import Customer, Order, OrderLine, StandingOrder
from coupage.web.people import history
from coupage.web.people.models import Change

__all__ = [
    "CustomerPage",
    "OrderPage",
    "OrdersPage",
    "customer_page",
    "customers_list",
    "order_page",
    "orders_page",
    "standing_list",
]

AHEAD = 14
"""For how many days ahead standing orders are written down."""


@dataclass(frozen=True, slots=True)
class OrdersPage:
    orders: Listing[queries.WeighedOrder]
    sentence: str
    missing: int
    until: dt.date
    today: dt.date


@dataclass(frozen=True, slots=True)
class OrderPage:
    order: Order
    sentence: str
    lines: tuple[OrderLine, ...]
    facts: tuple[tuple[str, str], ...]
    changes: tuple[Change, ...]
    mass: str


@dataclass(frozen=True, slots=True)
class CustomerPage:
    customer: Customer
    orders: tuple[Order, ...]
    standing: tuple[StandingOrder, ...]
    changes: tuple[Change, ...]


def orders_page(request: Request, today: dt.date) -> OrdersPage:
    orders = Listing.of(
        request,
        queries.orders(),
        search=("number", "customer__name", "note"),
        sorts={
            "number": ("number", "id"),
            "due": ("due_on", "due_time", "id"),
            "customer": ("customer__name", "due_on", "id"),
            "mass": ("mass_g", "id"),
        },
        default="due",
        filters=(
            Filter(
                "state",
                "Show",
                tuple(
                    Choice(value.replace(" ", "-"), label.capitalize(), Q(state=value))
                    for value, label in Order.State.choices
                ),
                default="open",
            ),
        ),
    )
    until = today + dt.timedelta(days=AHEAD)
    unit: MassUnit = request.user.mass_unit  # type: ignore[assignment]
    return OrdersPage(
        orders=orders,
        sentence=_open_sentence(today, unit),
        missing=len(queries.standing_missing(today, until)),
        until=until,
        today=today,
    )


def _open_sentence(today: dt.date, unit: MassUnit) -> str:
    waiting = list(queries.orders().filter(state=Order.State.OPEN).order_by("due_on"))
    if not waiting:
        return ""
    mass = show_mass(sum(order.mass_g for order in waiting), unit)
    count = f"{len(waiting)} order is" if len(waiting) == 1 else f"{len(waiting)} orders are"
    late = sum(order.due_on < today for order in waiting)
    text = f"{count} open, {mass} of roasted coffee"
    if late:
        return f"{text}; {late} {'was' if late == 1 else 'were'} due before today."
    return f"{text}; the next is due {_when(waiting[0].due_on, today)}."


def _when(day: dt.date, today: dt.date) -> str:
    if day == today:
        return "today"
    return f"on {day:%A}, {day_text(day, year=day.year != today.year)}"


def order_page(request: Request, pk: int) -> OrderPage:
    """Return one order's page, or 404."""
    order = queries.orders().filter(pk=pk).first()
    if order is None:
        raise Http404("There is no such order.")
    unit: MassUnit = request.user.mass_unit  # type: ignore[assignment]
    mass = show_mass(order.mass_g, unit)
    by = f" at {order.due_time:%H:%M}" if order.due_time else ""
    return OrderPage(
        order=order,
        sentence=f"{mass} for {order.customer}, due on {order.due_on:%A}, "
        f"{day_text(order.due_on)}{by}.",
        lines=tuple(order.lines.all()),
        facts=(
            ("State", order.state),
            ("Delivery", order.customer.address or "–"),
            ("From a standing order", "yes" if order.standing_id else "no"),
            ("Note", order.note or "–"),
        ),
        changes=tuple(history.of(order)[:20]),
        mass=mass,
    )


def customers_list(request: Request) -> Listing[Customer]:
    """Return the customers with how much is open for them."""
    waiting = Count("orders", filter=Q(orders__state=Order.State.OPEN), distinct=True)
    return Listing.of(
        request,
        Customer.objects.annotate(waiting=waiting),
        search=("name", "address", "note"),
        sorts={"name": "name", "waiting": ("waiting", "name")},
        default="name",
        filters=(
            Filter(
                "kept",
                "Show",
                (
                    Choice("use", "In use", Q(archived=False)),
                    Choice("away", "Put away", Q(archived=True)),
                ),
                default="use",
            ),
        ),
    )


def customer_page(pk: int) -> CustomerPage:
    """Return one customer's page, or 404."""
    customer = Customer.objects.filter(pk=pk).first()
    if customer is None:
        raise Http404("There is no such customer.")
    return CustomerPage(
        customer=customer,
        orders=tuple(queries.orders().filter(customer=customer).order_by("-due_on", "-id")[:20]),
        standing=tuple(queries.standing_orders().filter(customer=customer)),
        changes=tuple(history.of(customer)[:20]),
    )


def standing_list(request: Request) -> Listing[StandingOrder]:
    """Return the standing orders by day of the week."""
    return Listing.of(
        request,
        queries.standing_orders(),
        search=("customer__name", "note"),
        sorts={
            "day": ("weekday", "customer__name", "id"),
            "customer": ("customer__name", "weekday", "id"),
            "mass": ("mass_g", "id"),
        },
        default="day",
        filters=(
            Filter(
                "kept",
                "Show",
                (
                    Choice("use", "In use", Q(archived=False)),
                    Choice("away", "Put away", Q(archived=True)),
                ),
                default="use",
            ),
        ),
    )


def written_sentence(orders: Sequence[Order]) -> str:
    """Say how many orders were written down."""
    if not orders:
        return "All standing orders are written down already."
    count = "1 order is" if len(orders) == 1 else f"{len(orders)} orders are"
    return f"{count} written down from standing orders."
