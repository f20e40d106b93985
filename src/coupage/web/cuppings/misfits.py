"""What does not fit, worked out by the panel's criticism beside the pages and kept.

The room looks at some tables while all others inform what is expected of them. What it finds is
kept as plain data under the fingerprint of the ratings: once one of them is corrected or set
aside, it is looked for anew.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from itertools import combinations
from typing import Any

import numpy as np

from coupage.panel import (
    Beliefs,
    LeftOutSample,
    OddRating,
    PredictiveCheck,
    Review,
    SwappedCodes,
    VerdictChange,
    review,
    verdicts_without,
)
from coupage.panel.criticism import LOOKED_AT_ONCE
from coupage.web.cuppings.beliefs import AT_ONCE, Believed, believed_now, tolerances
from coupage.web.cuppings.columns import Columns
from coupage.web.cuppings.kept import BeliefsPending, Kept, impatient
from coupage.web.cuppings.models import Cupping, KeptReview

__all__ = ["Found", "Misfits", "misfits_of"]

_store = Kept(KeptReview, 40)
_MOST_PAIRS = 120


@dataclass(frozen=True, slots=True)
class Predicted:
    """How well samples are predicted from all others, in one attribute."""

    attribute: str
    error: float
    coverage: float
    samples: int
    outside: tuple[LeftOutSample, ...]
    missed: tuple[PredictiveCheck, ...]
    checked: int


@dataclass(frozen=True, slots=True)
class Misfits:
    """What was found; ``looked`` are the keys of the tables looked at, as text."""

    odd: tuple[OddRating, ...]
    swapped: tuple[SwappedCodes, ...]
    changes: tuple[VerdictChange, ...]
    predicted: tuple[Predicted, ...]
    conflicts: tuple[str, ...]
    looked: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Found:
    """What was found, and the keys of the ratings in the order of their rows."""

    misfits: Misfits
    keys: tuple[int, ...]
    threshold: float


def misfits_of(table: Cupping | None) -> Found | None:
    """Return what does not fit in one table, or in as many as can be looked at together.

    None while nothing was rated.

    Raises
    ------
    BeliefsPending
        When a page asks, and looking takes longer than a page may wait.
    InputError
        When the table holds too many ratings to be looked at.
    """
    now = believed_now()
    if now is None:
        return None
    looked = [str(table.pk)] if table else _newest(now.columns)
    limits = tolerances()
    told = json.dumps([now.fingerprint, looked, sorted(limits.items())])
    fingerprint = hashlib.sha256(told.encode()).hexdigest()

    def work() -> Misfits:
        found = _look(now, looked, limits)
        _store.keep(fingerprint, json.dumps(asdict(found)).encode())
        return found

    kept = _store.find(fingerprint)
    if kept is not None:
        misfits = _read(json.loads(kept))
    elif impatient.get() and len(now.columns) > AT_ONCE:
        raise BeliefsPending(_store.begin(fingerprint, work))
    else:
        misfits = work()
    return Found(misfits, now.columns.keys, now.beliefs.threshold)


def _newest(columns: Columns) -> list[str]:
    """Return the newest tables of which all ratings can be looked at together."""
    tables = columns.ratings["cupping"]
    held = Cupping.objects.filter(pk__in={int(pk) for pk in tables.tolist()})
    attributes = columns.ratings["attribute"]
    chosen: list[str] = []
    so_far: dict[str, int] = {}
    for pk in held.order_by("-held_at", "-id").values_list("pk", flat=True):
        names, counts = np.unique(attributes[tables == str(pk)], return_counts=True)
        then = dict(so_far)
        for name, count in zip(names.tolist(), counts.tolist(), strict=True):
            then[name] = then.get(name, 0) + count
        if chosen and max(then.values()) > LOOKED_AT_ONCE:
            break
        chosen, so_far = [*chosen, str(pk)], then
    return chosen


def _look(now: Believed, looked: Sequence[str], limits: Mapping[str, float]) -> Misfits:
    columns, beliefs = now.columns, now.beliefs
    there = [pk for pk in looked if pk in set(columns.ratings["cupping"].tolist())]
    if not there:
        return Misfits((), (), (), (), (), ())
    found = review(columns.ratings, columns.samples, beliefs, cuppings=there)
    pairs = _pairs(columns, {odd.cupping for odd in found.odd})
    changes = (
        verdicts_without(columns.ratings, columns.samples, beliefs, found.odd, pairs, limits)
        if found.odd and pairs
        else ()
    )
    return Misfits(
        odd=found.odd,
        swapped=found.swapped,
        changes=changes,
        predicted=tuple(_predicted(found, beliefs)),
        conflicts=found.conflicts,
        looked=tuple(there),
    )


def _pairs(columns: Columns, tables: set[str]) -> list[tuple[str, str]]:
    """Return the pairs of samples that stood on one of these tables."""
    pairs: list[tuple[str, str]] = []
    for table in sorted(tables):
        on_it = np.unique(columns.ratings["sample"][columns.ratings["cupping"] == table])
        pairs += combinations(on_it.tolist(), 2)
    return pairs[:_MOST_PAIRS]


def _predicted(found: Review, beliefs: Beliefs) -> list[Predicted]:
    return [
        Predicted(
            attribute=attribute,
            error=found.error(attribute),
            coverage=found.coverage(attribute),
            samples=len(found.left_out[attribute]),
            outside=tuple(s for s in found.left_out[attribute] if not s.inside),
            missed=tuple(check for check in found.predictive[attribute] if check.missed),
            checked=len(found.predictive[attribute]),
        )
        for attribute in beliefs.attributes
        if found.left_out[attribute]
    ]


def _read(data: dict[str, Any]) -> Misfits:
    return Misfits(
        odd=tuple(OddRating(**row) for row in data["odd"]),
        swapped=tuple(SwappedCodes(**row) for row in data["swapped"]),
        changes=tuple(VerdictChange(**row) for row in data["changes"]),
        predicted=tuple(
            Predicted(
                **row
                | {
                    "outside": tuple(LeftOutSample(**each) for each in row["outside"]),
                    "missed": tuple(PredictiveCheck(**each) for each in row["missed"]),
                }
            )
            for row in data["predicted"]
        ),
        conflicts=tuple(data["conflicts"]),
        looked=tuple(data["looked"]),
    )
