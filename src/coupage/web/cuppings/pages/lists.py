"""Lists of what every table draws on: samples, attributes, protocols, tasters."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Q
from django.urls import reverse

from coupage.web.common.listing import Choice, Filter, Listing
from coupage.web.common.requests import Request
from coupage.web.cuppings import queries
from coupage.web.cuppings.models import Attribute, Cupping, Protocol, Sample, Taster
from coupage.web.cuppings.pages.table import made_of

__all__ = [
    "SampleRow",
    "attributes_list",
    "protocols_list",
    "samples_list",
    "suggested_name",
    "tasters_list",
    "usual_protocol",
]

KEPT = Filter(
    "kept",
    "Show",
    (
        Choice("use", "In use", Q(archived=False)),
        Choice("away", "Put away", Q(archived=True)),
    ),
    default="use",
)


@dataclass(frozen=True, slots=True)
class SampleRow:
    sample: Sample
    made_of: str
    tables: int
    archive: str


def samples_list(request: Request) -> Listing[SampleRow]:
    """Return samples with what they are made of."""
    return Listing.of(
        request,
        queries.samples(),
        search=("label", "note"),
        sorts={
            "label": "label",
            "made": ("made_on", "id"),
            "kind": ("kind", "label"),
            "tables": ("table_count", "label"),
        },
        default="-made",
        filters=(
            Filter(
                "kind",
                "Kind",
                tuple(Choice(key, label, Q(kind=key)) for key, label in Sample.Kind.choices),
            ),
            KEPT,
        ),
    ).map(_sample_row)


def _sample_row(sample: Sample) -> SampleRow:
    away = reverse("cuppings:archive-sample", args=[sample.pk])
    tables: int = sample.table_count  # type: ignore[attr-defined]
    return SampleRow(sample, made_of(sample), tables, f"{away}?back" if sample.archived else away)


def attributes_list(request: Request) -> Listing[Attribute]:
    """Return attributes in their order."""
    return Listing.of(
        request,
        Attribute.objects.all(),
        search=("name",),
        sorts={
            "order": ("order", "name"),
            "name": "name",
            "tolerance": ("tolerance", "name"),
        },
        default="order",
        filters=(KEPT,),
    )


def protocols_list(request: Request) -> Listing[Protocol]:
    """Return protocols with their steps."""
    return Listing.of(
        request,
        queries.protocols(),
        search=("name", "passes", "source"),
        sorts={"name": "name", "tables": ("table_count", "name")},
        default="name",
        filters=(KEPT,),
    )


def tasters_list(request: Request) -> Listing[Taster]:
    """Return tasters with their accounts."""
    return Listing.of(
        request,
        queries.tasters(),
        search=("name", "person__name", "person__sign_in"),
        sorts={"name": "name", "seats": ("seat_count", "name")},
        default="name",
        filters=(
            Filter(
                "who",
                "Who",
                (
                    Choice("account", "With an account", Q(person__isnull=False)),
                    Choice("guest", "Guests", Q(person__isnull=True)),
                ),
            ),
            KEPT,
        ),
    )


def suggested_name(day: str) -> str:
    """Return a name for a new table that no other table has."""
    name, n = f"Table of {day}", 2
    taken = set(Cupping.objects.filter(name__startswith=name).values_list("name", flat=True))
    suggestion = name
    while suggestion in taken:
        suggestion, n = f"{name}, {n}", n + 1
    return suggestion


def usual_protocol() -> int | None:
    """Return the key of the protocol that was used last, or of the only one."""
    used = Cupping.objects.filter(protocol__archived=False).values_list("protocol_id", flat=True)
    newest = used.order_by("-pk").first()
    if newest is not None:
        return newest
    known = list(Protocol.objects.filter(archived=False).values_list("pk", flat=True)[:2])
    return known[0] if len(known) == 1 else None
