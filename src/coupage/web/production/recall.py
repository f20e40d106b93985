"""What a recall must know: who received what, what is still here, and the way it took.

One place reads it; the screen, the PDF, the CSV and the EPCIS document only show it.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import Any, TypeVar

from django.db.models import Model, QuerySet
from django.http import Http404
from django.utils import timezone

from coupage.web.batches.models import Batch
from coupage.web.batches.queries import stocked
from coupage.web.coffees.models import Lot
from coupage.web.coffees.queries import lots
from coupage.web.common.dates import day_text
from coupage.web.orders.models import Customer
from coupage.web.production import queries
from coupage.web.production.gs1 import read_scanned
from coupage.web.production.models import Packed, Run
from coupage.web.production.trace import Edge, Start, keys_of, trace

__all__ = ["STARTS", "Here", "Recall", "Received", "days_text", "find_start", "recall_of"]


def days_text(first: str, last: str) -> str:
    """Write one day or the span of two, given as ISO dates; empty where there is none."""
    if not first:
        return ""
    one = day_text(dt.date.fromisoformat(first))
    return one if first == last else f"{one} to {day_text(dt.date.fromisoformat(last))}"


STARTS: tuple[Start, ...] = ("lot", "batch", "run")
# SQLite takes some 32,000 parameters in a statement.
_AT_ONCE = 10_000
M = TypeVar("M", bound=Model)


@dataclass(frozen=True, slots=True)
class Received:
    """Bags of one size of one lot that one customer has."""

    customer: Customer
    packed: Packed
    bags: int
    first: str
    last: str

    @property
    def mass_g(self) -> int:
        return self.bags * self.packed.pack.bag_g

    @property
    def days(self) -> str:
        """Return when it was sent, in words."""
        return days_text(self.first, self.last)


@dataclass(frozen=True, slots=True)
class Here:
    """Something that is still in the house."""

    what: str
    name: str
    detail: str
    mass_g: int
    kind: str
    key: int


@dataclass(frozen=True, slots=True)
class Recall:
    """Everything about one beginning: a lot of green, a batch, or a lot of bags."""

    kind: Start
    key: int
    name: str
    edges: tuple[Edge, ...]
    lots: dict[int, Lot]
    batches: dict[int, Batch]
    runs: dict[int, Run]
    packed: dict[int, Packed]
    customers: dict[int, Customer]
    received: tuple[Received, ...]
    here: tuple[Here, ...]

    @property
    def bags_out(self) -> int:
        return sum(row.bags for row in self.received)

    @property
    def grams_out(self) -> int:
        return sum(row.mass_g for row in self.received)

    @property
    def grams_here(self) -> int:
        return sum(row.mass_g for row in self.here)

    @property
    def receivers(self) -> int:
        return len({row.customer.pk for row in self.received})

    @property
    def later_runs(self) -> list[Run]:
        """Return the runs that hold it: those a hold would stop."""
        below = {e.into_key for e in self.edges if e.into_kind == "run"}
        up = self._above() if self.kind == "run" else set()
        own = {self.key} if self.kind == "run" else set()
        return [self.runs[key] for key in sorted((below | own) - (up - own)) if key in self.runs]

    def _above(self) -> set[int]:
        into: dict[int, set[int]] = {}
        for e in self.edges:
            if e.kind == "run" and e.into_kind == "run":
                into.setdefault(e.into_key, set()).add(e.key)
        found, waiting = set(), [self.key]
        while waiting:
            for key in into.get(waiting.pop(), ()):
                if key not in found:
                    found.add(key)
                    waiting.append(key)
        return found


def _some(rows: QuerySet[Any], keys: Collection[int]) -> Iterator[Any]:
    ordered = sorted(keys)
    for begin in range(0, len(ordered), _AT_ONCE):
        yield from rows.filter(pk__in=ordered[begin : begin + _AT_ONCE])


def find_start(text: str) -> tuple[Start, int] | None:
    """Find what a code names: a lot code (also scanned, or with its L), a batch, a lot of green."""
    scanned = read_scanned(text)
    code = scanned.lot or scanned.text
    if not code:
        return None
    for wanted in (code, re.sub(r"^[Ll]\s*", "", code)):
        run = Run.objects.filter(lot_code__iexact=wanted).values_list("pk", flat=True).first()
        if run is not None:
            return "run", run
    batch = Batch.objects.filter(number__iexact=code).values_list("pk", flat=True).first()
    if batch is not None:
        return "batch", batch
    lot = Lot.objects.filter(name__iexact=code).values_list("pk", flat=True).first()
    return None if lot is None else ("lot", lot)


def recall_of(kind: str, key: int) -> Recall:
    """Gather everything about a beginning, or raise 404."""
    if kind not in STARTS:
        raise Http404("One can trace a lot, a batch or a run.")
    start = next(s for s in STARTS if s == kind)
    model: Any = {"lot": Lot, "batch": Batch, "run": Run}[start]
    thing = model.objects.filter(pk=key).first()
    if thing is None:
        raise Http404("There is nothing under that number to trace.")
    edges = tuple(trace(start, key))
    run_keys = keys_of(edges, "run") | ({key} if start == "run" else set())
    packed = {p.pk: p for p in _some(queries.packed(), keys_of(edges, "bags"))}
    runs = {r.pk: r for r in _some(queries.runs(), run_keys)}
    batch_keys = keys_of(edges, "batch") | ({key} if start == "batch" else set())
    batches = {b.pk: b for b in _some(stocked(), batch_keys)}
    lot_keys = keys_of(edges, "lot") | ({key} if start == "lot" else set())
    found_lots = {lot.pk: lot for lot in _some(lots(), lot_keys)}
    customers = {c.pk: c for c in _some(Customer.objects.all(), keys_of(edges, "customer"))}
    received = sorted(
        (
            Received(customers[e.into_key], packed[e.key], e.amount, e.first, e.last)
            for e in edges
            if e.into_kind == "customer"
        ),
        key=lambda r: (r.customer.name, r.packed.run.on, r.packed.pk),
    )
    name = f"lot {thing.name}" if start == "lot" else str(thing)
    recall = Recall(
        kind=start,
        key=key,
        name=name[0].upper() + name[1:],
        edges=edges,
        lots=found_lots,
        batches=batches,
        runs=runs,
        packed=packed,
        customers=customers,
        received=tuple(received),
        here=(),
    )
    return _with_here(recall)


def _with_here(recall: Recall) -> Recall:
    """Add what is in the house: of what one began from and of all that it went into."""
    rows: list[Here] = []
    if recall.kind == "lot":
        lot: Any = recall.lots[recall.key]
        rows.append(Here("green", lot.name, "", lot.on_hand_g, "lot", lot.pk))
    if recall.kind in {"lot", "batch"}:
        for batch in sorted(recall.batches.values(), key=lambda b: b.roasted_at):
            roasted = f"roasted {day_text(timezone.localtime(batch.roasted_at))}"
            grams = getattr(batch, "on_hand_g", 0)
            rows.append(Here("roasted", batch.number, roasted, grams, "batch", batch.pk))
    holding = {run.pk: run for run in recall.later_runs}
    for run in holding.values():
        grams = getattr(run, "loose_g", 0)
        rows.append(Here("loose blend", run.lot_code, str(run.recipe.blend), grams, "run", run.pk))
    for row in recall.packed.values():
        if row.run_id in holding:
            bags: int = getattr(row, "on_hand", 0)
            detail = f"{bags} × {row.pack.size} {row.pack.blend}"
            grams = bags * row.pack.bag_g
            rows.append(Here("bags", row.run.lot_code, detail, grams, "run", row.run_id))
    values = {name: getattr(recall, name) for name in Recall.__slots__}
    return Recall(**(values | {"here": tuple(row for row in rows if row.mass_g > 0)}))
