"""What is believed now: fitted once for the same data, kept, and found again by its fingerprint.

A small fit happens while the page waits. A long one runs beside the pages: the first page that
asks starts it and all are shown a note that it is being worked out (see ``middleware.py``). The
row of the fit, still empty, is the mark by which several server processes agree on who works.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import logging
import threading
from collections import OrderedDict
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.db import connection, transaction
from django.utils import timezone

from coupage.panel import MODEL_VERSION, Beliefs, Priors, fit
from coupage.web.cuppings.columns import Columns, columns_of, known_components
from coupage.web.cuppings.models import Attribute, Cupping, FittedBeliefs
from coupage.web.people.queries import roastery

__all__ = ["BeliefsPending", "beliefs_now", "impatient", "tolerances"]

log = logging.getLogger(__name__)

KEPT = 20
AT_ONCE = 1_500  # ratings; a fit of so many takes well under a second
STALE = dt.timedelta(minutes=10)

# Pages do not wait for a long fit; scripts, tests and the demo do.
impatient: ContextVar[bool] = ContextVar("impatient", default=False)

_memory: OrderedDict[str, Beliefs] = OrderedDict()
_failed: dict[str, Exception] = {}
_lock = threading.Lock()


class BeliefsPending(Exception):  # noqa: N818 - a state, not a fault
    """A long fit is on its way; ``since`` says when it began."""

    def __init__(self, since: dt.datetime) -> None:
        super().__init__("what the tables taught is being worked out")
        self.since = since


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
    columns = columns_of(Cupping.objects.filter(state=Cupping.State.REVEALED, void=False))
    if not len(columns):
        return None
    extra = tuple(sorted(known_components()))
    threshold = float(roastery().verdict_chance)
    data = _Data(columns, extra, threshold, _fingerprint(columns, extra, threshold))
    found = _remembered(data.fingerprint)
    if found is not None:
        return found
    if impatient.get() and len(columns) > AT_ONCE:
        raise BeliefsPending(_start(data))
    return _fit(data)


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
        if fingerprint in _failed:
            raise _failed.pop(fingerprint)
    kept = _rows(fingerprint).exclude(data=b"").first()
    return None if kept is None else _remember(fingerprint, Beliefs.from_bytes(bytes(kept.data)))


def _remember(fingerprint: str, beliefs: Beliefs) -> Beliefs:
    with _lock:
        _memory[fingerprint] = beliefs
        while len(_memory) > 4:
            _memory.popitem(last=False)
    return beliefs


def _rows(fingerprint: str) -> Any:
    return FittedBeliefs.objects.filter(fingerprint=fingerprint, model_version=MODEL_VERSION)


def _fit(data: _Data) -> Beliefs:
    beliefs = fit(
        data.columns.ratings,
        data.columns.samples,
        priors=Priors(),
        threshold=data.threshold,
        extra_components=data.extra,
    )
    _keep(data.fingerprint, beliefs)
    return _remember(data.fingerprint, beliefs)


@transaction.atomic
def _keep(fingerprint: str, beliefs: Beliefs) -> None:
    FittedBeliefs.objects.update_or_create(
        fingerprint=fingerprint,
        model_version=MODEL_VERSION,
        defaults={"made_at": timezone.now(), "data": beliefs.to_bytes()},
    )
    old = FittedBeliefs.objects.order_by("-made_at").values_list("pk", flat=True)[KEPT:]
    FittedBeliefs.objects.filter(pk__in=list(old)).delete()


def _start(data: _Data) -> dt.datetime:
    """Begin a fit beside the pages, unless somebody works at it; when it began."""
    now = timezone.now()
    row, mine = FittedBeliefs.objects.get_or_create(
        fingerprint=data.fingerprint,
        model_version=MODEL_VERSION,
        defaults={"made_at": now, "data": b""},
    )
    if not mine and now - row.made_at > STALE:
        # Whoever began it is gone: the first to move the mark takes over.
        stale = _rows(data.fingerprint).filter(made_at=row.made_at, data=b"")
        mine = bool(stale.update(made_at=now))
        row.made_at = now
    if mine:
        threading.Thread(target=_work, args=(data,), daemon=True).start()
    return row.made_at


def _work(data: _Data) -> None:
    try:
        _fit(data)
    except Exception as error:
        log.exception("the fit of %d ratings failed", len(data.columns))
        with _lock:
            _failed[data.fingerprint] = error
        _rows(data.fingerprint).filter(data=b"").delete()
    finally:
        connection.close()
