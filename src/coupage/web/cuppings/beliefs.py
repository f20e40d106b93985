"""What is believed now: fitted once for the same data, kept, and found again by its fingerprint."""

from __future__ import annotations

import hashlib
from functools import lru_cache
from typing import Any

import numpy as np
from django.db import transaction
from django.utils import timezone

from coupage.panel import MODEL_VERSION, Beliefs, Priors, fit
from coupage.web.cuppings.columns import Columns, columns_of, known_components
from coupage.web.cuppings.models import Attribute, Cupping, FittedBeliefs
from coupage.web.people.queries import roastery

__all__ = ["beliefs_now", "tolerances"]

KEPT = 20


def beliefs_now() -> Beliefs | None:
    """Return beliefs from every revealed cupping, or None while nothing was rated.

    A table that is under way stays out until its reveal, so that no answer leaks into it. Every
    approach in use is a component, cupped or not; one that never was carries the prior.
    """
    columns = columns_of(Cupping.objects.filter(state=Cupping.State.REVEALED, void=False))
    if not len(columns):
        return None
    extra = tuple(sorted(set(known_components())))
    threshold = float(roastery().verdict_chance)
    return _fitted(_Data(columns, extra, threshold))


def tolerances() -> dict[str, float]:
    """Return the difference called the same, by attribute."""
    return {
        name: float(value) for name, value in Attribute.objects.values_list("name", "tolerance")
    }


class _Data:
    """Columns that compare equal when their fingerprints do, so that a cache can hold them."""

    def __init__(self, columns: Columns, extra: tuple[str, ...], threshold: float) -> None:
        self.columns, self.extra, self.threshold = columns, extra, threshold
        self.fingerprint = _fingerprint(columns, extra, threshold)

    def __hash__(self) -> int:
        return hash(self.fingerprint)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Data) and self.fingerprint == other.fingerprint


def _fingerprint(columns: Columns, extra: tuple[str, ...], threshold: float) -> str:
    digest = hashlib.sha256(f"{threshold}|{'|'.join(extra)}".encode())
    for table in (columns.ratings, columns.samples):
        for name, column in sorted(table.items()):
            digest.update(name.encode())
            digest.update(_bytes(column))
    return digest.hexdigest()


def _bytes(column: np.ndarray[Any, Any]) -> bytes:
    if column.dtype.kind == "f":
        return column.tobytes()
    return "\x1f".join(column.tolist()).encode()


@lru_cache(maxsize=4)
def _fitted(data: _Data) -> Beliefs:
    kept = FittedBeliefs.objects.filter(
        fingerprint=data.fingerprint, model_version=MODEL_VERSION
    ).first()
    if kept is not None:
        return Beliefs.from_bytes(bytes(kept.data))
    beliefs = fit(
        data.columns.ratings,
        data.columns.samples,
        priors=Priors(),
        threshold=data.threshold,
        extra_components=data.extra,
    )
    _keep(data.fingerprint, beliefs)
    return beliefs


@transaction.atomic
def _keep(fingerprint: str, beliefs: Beliefs) -> None:
    FittedBeliefs.objects.get_or_create(
        fingerprint=fingerprint,
        model_version=MODEL_VERSION,
        defaults={"made_at": timezone.now(), "data": beliefs.to_bytes()},
    )
    old = FittedBeliefs.objects.order_by("-made_at").values_list("pk", flat=True)[KEPT:]
    FittedBeliefs.objects.filter(pk__in=list(old)).delete()
