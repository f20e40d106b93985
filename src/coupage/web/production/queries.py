"""Reads about runs, bags and dispatches. What is on hand is a sum over a ledger, at any date."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import TYPE_CHECKING, TypedDict

from django.db.models import (
    BigIntegerField,
    F,
    IntegerField,
    Model,
    OuterRef,
    Prefetch,
    Q,
    QuerySet,
    Subquery,
    Sum,
)
from django.db.models.functions import Coalesce, Greatest

from coupage.web.batches.models import Batch
from coupage.web.batches.queries import roasted_on_hand, stocked
from coupage.web.production.models import (
    BagEntry,
    BlendedEntry,
    Dispatch,
    DispatchLine,
    Pack,
    Packed,
    PackingRules,
    Run,
    RunPart,
)
from coupage.web.production.trace import runs_into

if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations

    StockedRun = WithAnnotations[Run, "RunSums"]
    StockedPacked = WithAnnotations[Packed, "PackedSums"]
    SentLine = WithAnnotations[DispatchLine, "LineSums"]
    WeighedPart = WithAnnotations[RunPart, "PartSums"]

__all__ = [
    "composition",
    "dispatches",
    "loose_on_hand",
    "packed",
    "packed_on_hand",
    "packs",
    "parts",
    "reserved_g",
    "roasted_on_hand",
    "rules",
    "runs",
    "sent_lines",
    "usable_batches",
]


class RunSums(TypedDict):
    """What :func:`runs` adds to a run, in grams."""

    in_g: int
    packed_g: int
    lost_g: int
    counted_g: int
    reused_g: int
    loose_g: int


class PackedSums(TypedDict):
    """What :func:`packed` adds to bags of one size of one run."""

    made: int
    on_hand: int
    out: int


class LineSums(TypedDict):
    """What :func:`sent_lines` adds: bags that left, that came back, that are still out."""

    sent: int
    returned: int
    out: int


class PartSums(TypedDict):
    """What :func:`parts` adds to a part of a run, in grams."""

    weighed_g: int


def rules() -> PackingRules:
    """Return how this roastery blends and labels; the usual where nobody has changed anything."""
    return PackingRules.objects.first() or PackingRules()


def _total(model: type[Model], link: str, amount: str, *only: Q) -> Coalesce:
    rows = model._default_manager.filter(*only, **{link: OuterRef("pk")}).order_by()
    summed = rows.values(link).annotate(total=Sum(amount)).values("total")
    return Coalesce(Subquery(summed), 0, output_field=BigIntegerField())


def _until(on: dt.date | None) -> tuple[Q, ...]:
    return () if on is None else (Q(on__lte=on),)


def runs(on: dt.date | None = None) -> QuerySet[StockedRun]:
    """Return all runs with the sums of their ledger at the end of a day, or of all there is."""

    def total(*kinds: str) -> Coalesce:
        only = (Q(kind__in=kinds),) if kinds else ()
        return _total(BlendedEntry, "run", "mass_g", *only, *_until(on))

    return Run.objects.select_related("recipe__blend", "made_by").annotate(
        in_g=total("weighed", "taken out"),
        packed_g=-total("packed", "unpacked", "opened"),
        lost_g=-total("wasted"),
        counted_g=total("count"),
        reused_g=-total("reused", "put back"),
        loose_g=total(),
    )


def parts() -> QuerySet[WeighedPart]:
    """Return parts of runs with what of them was weighed."""
    return RunPart.objects.select_related(
        "run", "batch__approach_version__approach__lot", "source__recipe__blend"
    ).annotate(weighed_g=_total(BlendedEntry, "part", "mass_g"))


def packed(on: dt.date | None = None) -> QuerySet[StockedPacked]:
    """Return bags by size and run, with how many were made, are on hand and are out."""

    def total(*kinds: str) -> Coalesce:
        only = (Q(kind__in=kinds),) if kinds else ()
        return _total(BagEntry, "packed", "bags", *only, *_until(on))

    return Packed.objects.select_related("run__recipe__blend", "pack__blend").annotate(
        made=total("packed", "unpacked"), on_hand=total(), out=-total("sent", "returned")
    )


def sent_lines() -> QuerySet[SentLine]:
    """Return lines of dispatches with bags sent, come back and still out."""

    def total(*kinds: str) -> Coalesce:
        return _total(BagEntry, "line", "bags", Q(kind__in=kinds))

    return DispatchLine.objects.select_related(
        "dispatch__customer", "packed__pack__blend", "packed__run__recipe__blend"
    ).annotate(sent=-total("sent"), returned=total("returned"), out=-total("sent", "returned"))


def dispatches() -> QuerySet[Dispatch]:
    """Return all dispatches with customers, lines and the ``bags`` that left."""
    summed = (
        BagEntry.objects.filter(line__dispatch=OuterRef("pk"), kind="sent")
        .order_by()
        .values("line__dispatch")
        .annotate(total=Sum("bags"))
        .values("total")
    )
    return (
        Dispatch.objects.select_related("customer", "order", "made_by")
        .prefetch_related(Prefetch("lines", queryset=sent_lines()))
        .annotate(bags=-Coalesce(Subquery(summed), 0, output_field=IntegerField()))
    )


def packs() -> QuerySet[Pack]:
    """Return sizes in use."""
    return Pack.objects.filter(archived=False, blend__archived=False).select_related("blend")


def reserved_g(batches: Iterable[Batch], *, but: Run | None = None) -> dict[int, int]:
    """Return grams by batch that runs under way have planned and not weighed yet."""
    open_parts = RunPart.objects.filter(batch__in=list(batches), run__state=Run.State.OPEN)
    if but is not None:
        open_parts = open_parts.exclude(run=but)
    waiting = open_parts.annotate(
        waits=Greatest(F("planned_g") - _total(BlendedEntry, "part", "mass_g"), 0)
    )
    found: dict[int, int] = {}
    for batch, waits in waiting.values_list("batch_id", "waits"):
        found[batch] = found.get(batch, 0) + waits
    return found


def loose_on_hand(on: dt.date | None = None) -> dict[int, int]:
    """Return grams of loose blend by blend, void and held runs left out."""
    found: dict[int, int] = {}
    usable = runs(on).filter(loose_g__gt=0, held=False).exclude(state=Run.State.VOID)
    for run in usable:
        blend = run.recipe.blend_id
        found[blend] = found.get(blend, 0) + run.loose_g
    return found


def packed_on_hand(on: dt.date | None = None) -> dict[tuple[int, int], int]:
    """Return bags by blend and grams of one bag, void and held lots left out."""
    found: dict[tuple[int, int], int] = {}
    usable = packed(on).filter(on_hand__gt=0, run__held=False).exclude(run__state=Run.State.VOID)
    for row in usable:
        key = (row.pack.blend_id, row.pack.bag_g)
        found[key] = found.get(key, 0) + row.on_hand
    return found


def usable_batches(approaches: Iterable[int]) -> dict[int, list[Batch]]:
    """Return batches by approach of which something may be blended, oldest first."""
    found: dict[int, list[Batch]] = {pk: [] for pk in approaches}
    there = stocked().filter(
        approach_version__approach__in=list(found), on_hand_g__gt=0, void=False
    )
    for batch in there:
        found[batch.approach_version.approach_id].append(batch)
    return found


def composition(run: Run) -> dict[int, int]:
    """Return grams of each approach in a run, by what was weighed; rests count as what they hold.

    Two statements, however long the chain of rests is.
    """
    chain = set(runs_into(run.pk))
    rows = list(parts().filter(run__in=chain, weighed_g__gt=0).order_by("run_id", "place"))
    made: dict[int, dict[int, float]] = {}
    for pk in sorted(chain):  # runs take from runs before them only
        mix: dict[int, float] = {}
        for row in (r for r in rows if r.run_id == pk):
            if row.batch is not None:
                key = row.batch.approach_version.approach_id
                mix[key] = mix.get(key, 0) + row.weighed_g
                continue
            source = made.get(row.source_id or 0, {})
            whole = sum(source.values())
            for key, grams in source.items():
                mix[key] = mix.get(key, 0) + row.weighed_g * grams / whole
        made[pk] = mix
    return {key: round(grams) for key, grams in made[run.pk].items()}
