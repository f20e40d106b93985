"""The table as plain columns: what the computing room takes, read in two queries."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.db.models import Exists, OuterRef, QuerySet

from coupage.web.coffees.models import Approach
from coupage.web.cuppings.models import Cupping, Mend, Part, Rating

__all__ = ["Columns", "columns_of", "component_name", "known_components"]

DAY_S = 86_400


@dataclass(frozen=True, slots=True)
class Columns:
    """Ratings and the samples they were given to, as `coupage.panel.fit` takes them.

    ``keys`` are those of the ratings' rows in the database.
    """

    ratings: dict[str, np.ndarray[Any, Any]]
    samples: dict[str, np.ndarray[Any, Any]]
    keys: tuple[int, ...] = ()

    def __len__(self) -> int:
        return len(self.ratings["rating"])


def component_name(approach: Approach) -> str:
    """Return the name by which beliefs know a lot roasted by an approach."""
    return str(approach)


def known_components() -> dict[str, Approach]:
    """Return every approach that is not archived, by the name beliefs know it by."""
    approaches = Approach.objects.filter(archived=False, lot__archived=False).select_related("lot")
    return {component_name(approach): approach for approach in approaches}


def columns_of(cuppings: QuerySet[Cupping]) -> Columns:
    """Return the ratings of some cuppings and the make-up of their samples.

    A sample is named by its cupping and label, since its age differs from table to table. Tasters
    keep one name across tables. Ratings that were set aside are left out.
    """
    aside = Mend.objects.filter(
        rating=OuterRef("pk"), undone_at=None, became=None, at__gte=OuterRef("at")
    )
    ratings = Rating.objects.filter(~Exists(aside), cup__cupping__in=cuppings).order_by("id")
    rated = ratings.values_list(
        "cup__cupping_id",
        "seat__taster__name",
        "cup__sample_id",
        "cup__sample__label",
        "cup__code",
        "round__name",
        "attribute__name",
        "value",
        "pk",
    )
    rows = list(rated)
    return Columns(
        ratings={
            "cupping": np.array([str(r[0]) for r in rows], dtype=str),
            "taster": np.array([r[1] for r in rows], dtype=str),
            "sample": np.array([sample_name(r[0], r[3]) for r in rows], dtype=str),
            "cup": np.array([f"{r[0]}:{r[4]}" for r in rows], dtype=str),
            "pass_name": np.array([r[5] for r in rows], dtype=str),
            "attribute": np.array([r[6] for r in rows], dtype=str),
            "rating": np.array([float(r[7]) for r in rows], dtype=float),
        },
        samples=_samples({(r[0], r[2], r[3]) for r in rows}, cuppings),
        keys=tuple(r[8] for r in rows),
    )


def sample_name(cupping_id: int, label: str) -> str:
    """Return the name by which beliefs know a sample on one table."""
    return f"{label} @{cupping_id}"


def _samples(
    on_tables: Iterable[tuple[int, int, str]], cuppings: QuerySet[Cupping]
) -> dict[str, np.ndarray[Any, Any]]:
    on_tables = sorted(on_tables)
    held = dict(cuppings.values_list("id", "held_at"))
    parts: dict[int, list[Part]] = {}
    of_samples = Part.objects.filter(sample__in={sample for _, sample, _ in on_tables})
    for part in of_samples.select_related("batch__approach_version__approach__lot"):
        parts.setdefault(part.sample_id, []).append(part)
    rows = [
        (sample_name(cupping_id, label), part, held[cupping_id])
        for cupping_id, sample_id, label in on_tables
        for part in parts[sample_id]
    ]
    approaches = [part.batch.approach_version.approach for _, part, _ in rows]
    return {
        "sample": np.array([name for name, _, _ in rows], dtype=str),
        "component": np.array([component_name(approach) for approach in approaches], dtype=str),
        "lot": np.array([approach.lot.name for approach in approaches], dtype=str),
        "proportion": np.array([part.share_ppm / 1e6 for _, part, _ in rows], dtype=float),
        "batch": np.array([part.batch.number for _, part, _ in rows], dtype=str),
        "age_days": np.array(
            [
                max(0.0, (at - part.batch.roasted_at).total_seconds() / DAY_S)
                for _, part, at in rows
            ],
            dtype=float,
        ),
    }
