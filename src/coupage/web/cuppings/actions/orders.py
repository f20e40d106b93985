"""Serving orders of a table, balanced over its seats."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from coupage.table import late_order, serving_orders
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
    """Give one latecomer the order that leaves the table as even as it can be."""
    cups = list(seat.cupping.cups.order_by("pk").values_list("pk", flat=True))
    number = {cup: index for index, cup in enumerate(cups)}
    served: dict[int, list[int]] = {}
    others = Serving.objects.filter(seat__cupping=seat.cupping_id).order_by("seat", "position")
    for other, cup in others.values_list("seat_id", "cup_id"):
        served.setdefault(other, []).append(number[cup])
    whole = [order for order in served.values() if len(order) == len(cups)]
    given = np.array(whole, dtype=np.int64).reshape(len(whole), len(cups))
    _write([seat], cups, late_order(given)[None])


def _write(seats: list[Seat], cups: list[int], orders: NDArray[np.int64] | None = None) -> None:
    if orders is None:
        orders = serving_orders(len(cups), len(seats))
    Serving.objects.bulk_create(
        Serving(seat=seat, cup_id=cups[index], position=position)
        for seat, order in zip(seats, orders.tolist(), strict=True)
        for position, index in enumerate(order, start=1)
    )
