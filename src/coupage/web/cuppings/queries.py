"""Reads about tables and what stands on them."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypedDict

from django.db.models import Count, IntegerField, OuterRef, Prefetch, QuerySet, Subquery
from django.db.models.functions import Coalesce

from coupage.web.batches.models import Batch
from coupage.web.cuppings.models import (
    Attribute,
    Cup,
    Cupping,
    CuppingAttribute,
    CuppingPass,
    Part,
    Protocol,
    Rating,
    Sample,
    Seat,
    Serving,
    Taster,
)
from coupage.web.people.access import may
from coupage.web.people.models import Person

if TYPE_CHECKING:
    from django.db.models import Model
    from django_stubs_ext import WithAnnotations

    CountedCupping = WithAnnotations[Cupping, "TableCounts"]

__all__ = [
    "attributes",
    "batches_to_cup",
    "counted_cuppings",
    "cuppings",
    "cuppings_for",
    "orders",
    "parts_with_coffee",
    "protocols",
    "ratings_by_cell",
    "samples",
    "samples_to_cup",
    "seats_of",
    "tasters",
]


class TableCounts(TypedDict):
    """What :func:`counted_cuppings` adds to a table."""

    sample_count: int
    cup_count: int
    seat_count: int
    round_count: int
    asked_count: int
    rating_count: int


def cuppings() -> QuerySet[Cupping]:
    """Return all tables with their protocol and host."""
    return Cupping.objects.select_related("protocol", "host")


def cuppings_for(person: Person) -> QuerySet[Cupping]:
    """Return the tables a person may know of: readers all of them, a taster those with a seat.

    A taster hears of a table when it is open, not while it is being set up.
    """
    tables = cuppings()
    if may(person, "see"):
        return tables
    return tables.filter(
        pk__in=Seat.objects.filter(taster__person=person).values("cupping_id"),
        void=False,
        state__in=[Cupping.State.OPEN, Cupping.State.REVEALED],
    )


def counted_cuppings(tables: QuerySet[Cupping]) -> QuerySet[CountedCupping]:
    """Return tables with how much of everything there is; all counted by the database."""

    def count(model: type[Model], link: str = "cupping", what: str = "pk") -> Coalesce:
        rows = model._default_manager.filter(**{link: OuterRef("pk")}).order_by().values(link)
        counted = rows.annotate(n=Count(what, distinct=what != "pk")).values("n")
        return Coalesce(Subquery(counted, output_field=IntegerField()), 0)

    return tables.annotate(
        sample_count=count(Cup, what="sample"),
        cup_count=count(Cup),
        seat_count=count(Seat),
        round_count=count(CuppingPass),
        asked_count=count(CuppingAttribute),
        rating_count=count(Rating, "cup__cupping"),
    )


def parts_with_coffee() -> QuerySet[Part]:
    """Return parts of samples, each with its batch and coffee, largest share first."""
    return Part.objects.select_related("batch__approach_version__approach__lot").order_by(
        "-share_ppm", "id"
    )


def samples() -> QuerySet[Sample]:
    """Return all samples with their parts and how many tables they stood on."""
    return Sample.objects.annotate(
        table_count=Count("cups__cupping", distinct=True)
    ).prefetch_related(Prefetch("parts", queryset=parts_with_coffee()))


def samples_to_cup() -> QuerySet[Sample]:
    """Return samples that can be put on a table, newest first."""
    return Sample.objects.filter(sealed=True, archived=False).order_by("-made_on", "-id")


def batches_to_cup() -> QuerySet[Batch]:
    """Return batches that can be tasted, newest first; one on hold is tasted to judge it."""
    return (
        Batch.objects.filter(void=False)
        .select_related("approach_version__approach__lot")
        .order_by("-roasted_at", "-id")
    )


def seats_of(table: Cupping) -> QuerySet[Seat]:
    """Return the seats of a table with their tasters."""
    return table.seats.select_related("taster__person").order_by("order", "id")


def orders(table: Cupping) -> dict[int, list[Cup]]:
    """Return each seat's cups in serving order, by the key of the seat."""
    found: dict[int, list[Cup]] = {}
    servings = Serving.objects.filter(seat__cupping=table).select_related("cup")
    for serving in servings.order_by("seat", "position"):
        found.setdefault(serving.seat_id, []).append(serving.cup)
    return found


def ratings_by_cell(seat: Seat) -> dict[tuple[int, int, int], Rating]:
    """Return a seat's ratings by the keys of pass, cup and attribute."""
    ratings = Rating.objects.filter(seat=seat).select_related("by")
    return {(r.round_id, r.cup_id, r.attribute_id): r for r in ratings}


def attributes() -> QuerySet[Attribute]:
    """Return the attributes in use, in their order."""
    return Attribute.objects.filter(archived=False)


def protocols() -> QuerySet[Protocol]:
    """Return all protocols with their steps and how many tables followed them."""
    return Protocol.objects.annotate(table_count=Count("cuppings", distinct=True)).prefetch_related(
        "steps"
    )


def tasters() -> QuerySet[Taster]:
    """Return all tasters with their account and how many seats they had."""
    return Taster.objects.select_related("person").annotate(
        seat_count=Count("seats", distinct=True)
    )
