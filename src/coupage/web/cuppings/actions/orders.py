"""Serving orders of a table, balanced over its seats."""

from __future__ import annotations

from coupage.table import serving_orders
from coupage.web.cuppings.models import Cupping, Seat, Serving

__all__ = ["deal_order", "deal_orders"]


def deal_orders(cupping: Cupping) -> None:
    """Give each seat its order of all cups; orders that are complete already stay."""
    cups = set(cupping.cups.values_list("pk", flat=True))
    seats = list(cupping.seats.all())
    served: dict[int, set[int]] = {seat.pk: set() for seat in seats}
    for seat, cup in Serving.objects.filter(seat__in=seats).values_list("seat_id", "cup_id"):
        served[seat].add(cup)
    if all(found == cups for found in served.values()):
        return
    Serving.objects.filter(seat__in=seats).delete()
    _write(seats, sorted(cups))


def deal_order(seat: Seat) -> None:
    """Give one latecomer an order."""
    _write([seat], list(seat.cupping.cups.order_by("pk").values_list("pk", flat=True)))


def _write(seats: list[Seat], cups: list[int]) -> None:
    orders = serving_orders(len(cups), len(seats))
    Serving.objects.bulk_create(
        Serving(seat=seat, cup_id=cups[index], position=position)
        for seat, order in zip(seats, orders.tolist(), strict=True)
        for position, index in enumerate(order, start=1)
    )
