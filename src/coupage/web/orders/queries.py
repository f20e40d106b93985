"""Reads about customers and orders."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator
from typing import TYPE_CHECKING, TypedDict

from django.db.models import BigIntegerField, F, Prefetch, QuerySet, Sum
from django.db.models.functions import Coalesce, TruncWeek

from coupage.web.orders.models import Customer, Order, OrderLine, StandingLine, StandingOrder

if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations

    WeighedOrder = WithAnnotations[Order, "RoastedSum"]
    WeighedStanding = WithAnnotations[StandingOrder, "RoastedSum"]

__all__ = [
    "customers",
    "days_of",
    "demand_by_week",
    "due_by",
    "next_number",
    "orders",
    "standing_missing",
    "standing_orders",
]

_LINE_MASS = F("lines__bag_g") * F("lines__bags")


class RoastedSum(TypedDict):
    """What :func:`orders` adds to an order: the roasted coffee in it."""

    mass_g: int


def customers() -> QuerySet[Customer]:
    """Return customers in use, by name."""
    return Customer.objects.filter(archived=False)


def orders() -> QuerySet[WeighedOrder]:
    """Return all orders with customer, lines, and ``mass_g``, the roasted coffee in them."""
    lines = OrderLine.objects.select_related("blend")
    whole = BigIntegerField()
    return (
        Order.objects.select_related("customer", "standing")
        .prefetch_related(Prefetch("lines", queryset=lines))
        .annotate(mass_g=Coalesce(Sum(_LINE_MASS, output_field=whole), 0, output_field=whole))
    )


def due_by(day: dt.date) -> QuerySet[WeighedOrder]:
    """Return orders that are still to be made and are due on a day or were due before it."""
    return orders().filter(state=Order.State.OPEN, due_on__lte=day)


def standing_orders() -> QuerySet[WeighedStanding]:
    """Return all standing orders with customer, lines and ``mass_g``."""
    lines = StandingLine.objects.select_related("blend")
    whole = BigIntegerField()
    return (
        StandingOrder.objects.select_related("customer")
        .prefetch_related(Prefetch("lines", queryset=lines))
        .annotate(mass_g=Coalesce(Sum(_LINE_MASS, output_field=whole), 0, output_field=whole))
    )


def days_of(standing: StandingOrder, first: dt.date, last: dt.date) -> Iterator[dt.date]:
    """Give the days between two days (both included) for which a standing order stands."""
    day = standing.since + dt.timedelta(days=(standing.weekday - standing.since.weekday()) % 7)
    step = dt.timedelta(weeks=standing.every_weeks)
    last = min(last, standing.until) if standing.until else last
    if day < first:
        day += step * -(-(first - day).days // step.days)
    while day <= last:
        yield day
        day += step


def standing_missing(first: dt.date, last: dt.date) -> list[tuple[StandingOrder, dt.date]]:
    """Return the standing orders between two days that are not written down yet, by day.

    One that was called off was written down; it does not come again.
    """
    there = set(
        Order.objects.filter(standing__isnull=False, due_on__range=(first, last)).values_list(
            "standing_id", "due_on"
        )
    )
    found = [
        (standing, day)
        for standing in standing_orders().filter(archived=False, customer__archived=False)
        for day in days_of(standing, first, last)
        if (standing.pk, day) not in there
    ]
    return sorted(found, key=lambda pair: (pair[1], pair[0].pk))


def demand_by_week(first: dt.date, before: dt.date) -> dict[int, dict[dt.date, int]]:
    """Return grams ordered, by blend and Monday, of the days from ``first`` to before ``before``.

    What was called off was not wanted in the end and does not count.
    """
    rows = (
        OrderLine.objects.filter(order__due_on__gte=first, order__due_on__lt=before)
        .exclude(order__state=Order.State.CALLED_OFF)
        .order_by()
        .values("blend_id", week=TruncWeek("order__due_on"))
        .annotate(grams=Sum(F("bag_g") * F("bags"), output_field=BigIntegerField()))
    )
    found: dict[int, dict[dt.date, int]] = defaultdict(dict)
    for row in rows:
        found[row["blend_id"]][row["week"]] = row["grams"]
    return dict(found)


def next_number() -> str:
    """Return the number after the highest of those that are whole numbers: ``1042``."""
    numbers = [
        int(number)
        for number in Order.objects.order_by("-pk").values_list("number", flat=True)[:200]
        if number.isascii() and number.isdigit()
    ]
    number = max(numbers, default=1000) + 1
    while Order.objects.filter(number=str(number)).exists():
        number += 1
    return str(number)
