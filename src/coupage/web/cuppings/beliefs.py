"""What is believed now: fitted once for the same data, kept, and found again by its fingerprint.

A small fit happens while the page waits. A long one runs beside the pages: the first page that
asks starts it and all are shown a note that it is being worked out (see ``kept.py``).
"""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from dataclasses import dataclass
from typing import Any

import numpy as np

from coupage.panel import MODEL_VERSION, Beliefs, Priors, fit
from coupage.web.cuppings.columns import Columns, columns_of, known_components
from coupage.web.cuppings.kept import BeliefsPending, Kept, impatient
from coupage.web.cuppings.models import Attribute, Cupping, FittedBeliefs
from coupage.web.people.queries import roastery

__all__ = ["AT_ONCE", "Believed", "beliefs_now", "believed_now", "revealed_columns", "tolerances"]

AT_ONCE = 1_500  # ratings; a fit of so many takes well under a second

_store = Kept(FittedBeliefs, 20)
_memory: OrderedDict[str, Beliefs] = OrderedDict()
_lock = threading.Lock()


@dataclass(frozen=True, slots=True)
class Believed:
    """Beliefs with the columns that they were fitted from, and the fingerprint of both."""

    beliefs: Beliefs
    columns: Columns
    fingerprint: str


@dataclass(frozen=True, slots=True)
class _Data:
    columns: Columns
    extra: tuple[str, ...]
    threshold: float
    fingerprint: str


def beliefs_now() -> Beliefs | None:
    """Return beliefs from every revealed cupping, or None while nothing was rated.

    A table that is under way stays out until its reveal, so that no answer leaks into it. Every
    approach in use is a component, cupped or not; one that never was carries the prior.

    Raises
    ------
    BeliefsPending
        When a page asks and the fit takes longer than a page may wait.
    """
    found = believed_now()
    return None if found is None else found.beliefs


def believed_now() -> Believed | None:
    """Return beliefs as :func:`beliefs_now`, with what they were fitted from."""
    columns = revealed_columns()
    if not len(columns):
        return None
    extra = tuple(sorted(known_components()))
    threshold = float(roastery().verdict_chance)
    data = _Data(columns, extra, threshold, _fingerprint(columns, extra, threshold))
    found = _remembered(data.fingerprint)
    if found is not None:
        return Believed(found, columns, data.fingerprint)
    if impatient.get() and len(columns) > AT_ONCE:
        raise BeliefsPending(_store.begin(data.fingerprint, lambda: _fit(data)))
    return Believed(_fit(data), columns, data.fingerprint)


def revealed_columns() -> Columns:
    """Return what beliefs are fitted from: the ratings of every revealed cupping that is valid."""
    return columns_of(Cupping.objects.filter(state=Cupping.State.REVEALED, void=False))


def tolerances() -> dict[str, float]:
    """Return the difference called the same, by attribute."""
    return {
        name: float(value) for name, value in Attribute.objects.values_list("name", "tolerance")
    }


def _fingerprint(columns: Columns, extra: tuple[str, ...], threshold: float) -> str:
    digest = hashlib.sha256(f"{MODEL_VERSION}|{threshold}|{'|'.join(extra)}".encode())
    for table in (columns.ratings, columns.samples):
        for name, column in sorted(table.items()):
            digest.update(name.encode())
            digest.update(_bytes(column))
    return digest.hexdigest()


def _bytes(column: np.ndarray[Any, Any]) -> bytes:
    if column.dtype.kind == "f":
        return column.tobytes()
    return "\x1f".join(column.tolist()).encode()


def _remembered(fingerprint: str) -> Beliefs | None:
    """Find a finished fit in this process, or in the database."""
    with _lock:
        if fingerprint in _memory:
            _memory.move_to_end(fingerprint)
            return _memory[fingerprint]
    data = _store.find(fingerprint)
    return None if data is None else _remember(fingerprint, Beliefs.from_bytes(data))


def _remember(fingerprint: str, beliefs: Beliefs) -> Beliefs:
    with _lock:
        _memory[fingerprint] = beliefs
        while len(_memory) > 4:
            _memory.popitem(last=False)
    return beliefs


def _fit(data: _Data) -> Beliefs:
    beliefs = fit(
        data.columns.ratings,
        data.columns.samples,
        priors=Priors(),
        threshold=data.threshold,
        extra_components=data.extra,
    )
    _store.keep(data.fingerprint, beliefs.to_bytes())
    return _remember(data.fingerprint, beliefs)
