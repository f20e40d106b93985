"""Reads about lots, their stock and their approaches."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, TypedDict

from django.db.models import (
    BigIntegerField,
    F,
    IntegerField,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    Sum,
)
from django.db.models.functions import Coalesce

from coupage.web.coffees.models import Approach, ApproachVersion, Lot, Reservation, StockEntry

if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations

    StockedLot = WithAnnotations[Lot, "StockSums"]

__all__ = [
    "approaches",
    "lots",
    "lots_running_low",
    "newest_versions",
    "promised_g",
    "was_promised",
]


class StockSums(TypedDict):
    """What :func:`lots` adds to a lot, in grams."""

    received_g: int
    used_g: int
    on_hand_g: int
    promised_g: int
    free_g: int


def lots(on: dt.date | None = None) -> QuerySet[StockedLot]:
    """Return all lots with their sums from ledger, batches and reservations.

    ``received_g``, ``used_g``, ``on_hand_g``, and of that ``promised_g`` to plans and ``free_g``.
    Green in the drum counts as used from the moment the batch is recorded; void batches do not.

    Parameters
    ----------
    on
        At the end of which day, by the clock of whoever asks; left out, after every line there is.
    """
    ledger = StockEntry.objects.filter(lot=OuterRef("pk"))
    held = Reservation.objects.filter(lot=OuterRef("pk"))
    roasted = Q(approaches__versions__batches__void=False)
    if on is not None:
        ledger, held = ledger.filter(on__lte=on), held.filter(on__lte=on)
        roasted &= Q(approaches__versions__batches__roasted_at__date__lte=on)
    # Batches stand above this app: the relation is followed from the lot's side, by name.
    used = (
        Lot.objects.filter(roasted, pk=OuterRef("pk"))
        .order_by()
        .values("pk")
        .annotate(total=Sum("approaches__versions__batches__green_g"))
        .values("total")
    )
    whole = BigIntegerField()

    def total(lines: QuerySet[StockEntry] | QuerySet[Reservation]) -> Subquery:
        summed = lines.order_by().values("lot").annotate(total=Sum("mass_g"))
        return Subquery(summed.values("total"))

    return (
        Lot.objects.annotate(
            received_g=Coalesce(total(ledger), 0, output_field=whole),
            used_g=Coalesce(Subquery(used), 0, output_field=whole),
            promised_g=Coalesce(total(held), 0, output_field=whole),
        )
        .annotate(on_hand_g=F("received_g") - F("used_g"))
        .annotate(free_g=F("on_hand_g") - F("promised_g"))
    )


def promised_g(purpose: str) -> dict[int, int]:
    """Return the grams that are promised to a purpose, by lot."""
    rows = (
        Reservation.objects.filter(purpose=purpose)
        .order_by()
        .values("lot")
        .annotate(total=Sum("mass_g"))
    )
    return {row["lot"]: row["total"] for row in rows if row["total"]}


def was_promised(purpose: str, lot: Lot) -> bool:
    """Say whether green of a lot was ever promised to a purpose."""
    return Reservation.objects.filter(lot=lot, purpose=purpose).exists()


def lots_running_low(below_g: int) -> QuerySet[StockedLot]:
    """Return lots in use of which little is left, least first; lots that are gone are left out."""
    return (
        lots().filter(archived=False, on_hand_g__gt=0, on_hand_g__lt=below_g).order_by("on_hand_g")
    )


def approaches() -> QuerySet[Approach]:
    """Return approaches in use with their lots, by name."""
    return Approach.objects.filter(archived=False, lot__archived=False).select_related("lot")


def newest_versions() -> QuerySet[ApproachVersion]:
    """Return the newest version of every approach in use."""
    newest = (
        ApproachVersion.objects.filter(approach=OuterRef("approach"))
        .order_by("-number")
        .values("number")[:1]
    )
    return (
        ApproachVersion.objects.filter(approach__in=approaches())
        .filter(number=Subquery(newest, output_field=IntegerField()))
        .select_related("approach__lot")
        .order_by("approach__lot__name", "approach__name")
    )
