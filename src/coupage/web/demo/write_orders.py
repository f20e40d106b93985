"""Customers, a year of orders, and what is open today, as rows of the database."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np

from coupage.web.batches.models import RoastedEntry
from coupage.web.batches.queries import stocked
from coupage.web.blends.models import Blend
from coupage.web.demo.scenario_orders import CUSTOMERS, OPEN, STANDING, WEEKS, StandingPlan
from coupage.web.demo.write_tables import TableWriter
from coupage.web.orders.models import Customer, Order, OrderLine, StandingLine, StandingOrder

__all__ = ["use_up", "write_orders"]

_SEED = 41
_USED_UP = 7  # days; what was roasted before is drunk


def write_orders(writer: TableWriter) -> None:
    """Write customers, standing orders, their year of orders, and what is open."""
    customers = Customer.objects.bulk_create(
        Customer(name=plan.name, address=plan.address, note=plan.note) for plan in CUSTOMERS
    )
    by_name = {customer.name: customer for customer in customers}
    blends = {blend.name: blend for blend in Blend.objects.all()}
    first = writer.today - dt.timedelta(weeks=WEEKS)
    standing = StandingOrder.objects.bulk_create(
        StandingOrder(
            customer=by_name[plan.customer],
            weekday=writer.day(-plan.day).weekday(),
            since=first,
        )
        for plan in STANDING
    )
    StandingLine.objects.bulk_create(
        StandingLine(standing=row, blend=blends[blend], bag_g=bag_g, bags=bags)
        for row, plan in zip(standing, STANDING, strict=True)
        for blend, bag_g, bags in plan.lines
    )
    _write_year(writer, standing, blends)


def _write_year(
    writer: TableWriter, standing: list[StandingOrder], blends: dict[str, Blend]
) -> None:
    """A year that grows by a fifth and is quieter in its summer; the coming days stand open."""
    rng = np.random.default_rng(_SEED)
    orders: list[Order] = []
    lines: list[list[tuple[str, int, int]]] = []
    for week in range(-WEEKS, 1):
        for row, plan in zip(standing, STANDING, strict=True):
            due = writer.day(-(7 * week + plan.day))
            ahead = due >= writer.today
            orders.append(
                Order(
                    number="",
                    customer=row.customer,
                    due_on=due,
                    standing=row,
                    state=Order.State.OPEN if ahead else Order.State.SENT,
                )
            )
            lines.append(list(plan.lines) if ahead else _asked(rng, plan, week, due))
    for open_one in OPEN:
        orders.append(
            Order(
                number="",
                customer=next(r.customer for r in standing if r.customer.name == open_one.customer),
                due_on=writer.day(-open_one.day),
                due_time=dt.time.fromisoformat(open_one.by) if open_one.by else None,
                note=open_one.note,
            )
        )
        lines.append(list(open_one.lines))
    for number, order in enumerate(orders, start=1001):
        order.number = str(number)
    saved = Order.objects.bulk_create(orders)
    OrderLine.objects.bulk_create(
        OrderLine(order=order, blend=blends[blend], bag_g=bag_g, bags=bags)
        for order, wanted in zip(saved, lines, strict=True)
        for blend, bag_g, bags in wanted
    )


def _asked(
    rng: np.random.Generator, plan: StandingPlan, week: int, due: dt.date
) -> list[tuple[str, int, int]]:
    """What was really ordered in a week of the past: around the standing order."""
    growth = 1 + 0.2 * week / WEEKS
    summer = 1 - 0.18 * math.exp(-(((due.timetuple().tm_yday - 205) / 30) ** 2))
    return [
        (blend, bag_g, max(1, round(bags * growth * summer * float(rng.normal(1, 0.09)))))
        for blend, bag_g, bags in plan.lines
    ]


def use_up(writer: TableWriter) -> None:
    """What was roasted more than a week ago went out before the ledger of roasted coffee began."""
    before = writer.moment(_USED_UP, 0)
    RoastedEntry.objects.bulk_create(
        RoastedEntry(
            batch=batch,
            kind=RoastedEntry.Kind.COUNT,
            mass_g=-batch.on_hand_g,
            on=writer.day(_USED_UP - 1),
            at=writer.moment(_USED_UP - 1, 17 * 60),
            reason="Gone out before this ledger began",
            by=writer.person["tamsin"],
        )
        for batch in stocked().filter(roasted_at__lt=before, on_hand_g__gt=0)
        if batch.verdict != "hold"
    )
