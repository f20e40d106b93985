"""Reads about lots, their stock and their approaches."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypedDict

from django.db.models import BigIntegerField, F, IntegerField, OuterRef, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from coupage.web.coffees.models import Approach, ApproachVersion, Lot, StockEntry

if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations

    StockedLot = WithAnnotations[Lot, "StockSums"]

__all__ = ["approaches", "lots", "lots_running_low", "newest_versions"]


class StockSums(TypedDict):
    """What :func:`lots` adds to a lot, in grams."""

    received_g: int
    used_g: int
    on_hand_g: int


def lots() -> QuerySet[StockedLot]:
    """Return all lots, with ``received_g``, ``used_g`` and ``on_hand_g`` from ledger and batches.

    Green in the drum counts as used from the moment the batch is recorded; void batches do not.
    """
    ledger = StockEntry.objects.filter(lot=OuterRef("pk")).order_by().values("lot")
    received = ledger.annotate(total=Sum("mass_g")).values("total")
    # Batches stand above this app: the relation is followed from the lot's side, by name.
    used = (
        Lot.objects.filter(pk=OuterRef("pk"), approaches__versions__batches__void=False)
        .order_by()
        .values("pk")
        .annotate(total=Sum("approaches__versions__batches__green_g"))
        .values("total")
    )
    whole = BigIntegerField()
    return Lot.objects.annotate(
        received_g=Coalesce(Subquery(received), 0, output_field=whole),
        used_g=Coalesce(Subquery(used), 0, output_field=whole),
    ).annotate(on_hand_g=F("received_g") - F("used_g"))


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
