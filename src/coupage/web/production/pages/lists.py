"""The lists: runs, bags on the shelf, dispatches, roasted coffee, sizes."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import Q
from django.http import Http404
from django.utils import timezone

from coupage.units import MassUnit, show_mass
from coupage.web.batches.models import Batch, RoastedEntry, Verdict
from coupage.web.batches.queries import stocked
from coupage.web.common.listing import Choice, Filter, Listing
from coupage.web.common.requests import Request
from coupage.web.people import history
from coupage.web.people.models import Change
from coupage.web.production import queries
from coupage.web.production.models import BagEntry, Dispatch, Run

if TYPE_CHECKING:
    from coupage.web.batches.queries import StockedBatch

__all__ = [
    "BagsPage",
    "DispatchPage",
    "RoastedPage",
    "RunsPage",
    "bags_page",
    "dispatch_page",
    "dispatches_list",
    "roasted_list",
    "roasted_page",
    "runs_page",
    "shelf_list",
]


@dataclass(frozen=True, slots=True)
class RunsPage:
    runs: Listing[queries.StockedRun]
    sentence: str


@dataclass(frozen=True, slots=True)
class BagsPage:
    packed: queries.StockedPacked
    sentence: str
    entries: tuple[BagEntry, ...]
    changes: tuple[Change, ...]


@dataclass(frozen=True, slots=True)
class DispatchPage:
    dispatch: Dispatch
    lines: tuple[queries.SentLine, ...]
    sentence: str
    note: str
    changes: tuple[Change, ...]


@dataclass(frozen=True, slots=True)
class RoastedPage:
    batch: StockedBatch
    sentence: str
    reserved: str
    entries: tuple[RoastedEntry, ...]


def runs_page(request: Request) -> RunsPage:
    runs = Listing.of(
        request,
        queries.runs(),
        search=("lot_code", "recipe__blend__name", "note"),
        sorts={
            "lot": "lot_code",
            "day": ("on", "id"),
            "blend": ("recipe__blend__name", "-on"),
            "in": "in_g",
            "loose": "loose_g",
        },
        default="-day",
        filters=(
            Filter(
                "state",
                "Show",
                (
                    Choice("open", "Under way", Q(state=Run.State.OPEN)),
                    Choice("closed", "Closed", Q(state=Run.State.CLOSED)),
                    Choice("held", "On hold", Q(held=True)),
                    Choice("void", "Void", Q(state=Run.State.VOID)),
                ),
            ),
        ),
    )
    unit: MassUnit = request.user.mass_unit  # type: ignore[assignment]
    bags = queries.packed_on_hand()
    grams = sum(count * bag_g for (_, bag_g), count in bags.items())
    count = sum(bags.values())
    waiting = Run.objects.filter(state=Run.State.OPEN).count()
    parts = []
    if waiting:
        parts.append(f"{waiting} {'run is' if waiting == 1 else 'runs are'} under way.")
    if count:
        parts.append(f"{count} bags, {show_mass(grams, unit)}, stand on the shelf.")
    return RunsPage(runs, " ".join(parts))


def shelf_list(request: Request) -> Listing[queries.StockedPacked]:
    return Listing.of(
        request,
        queries.packed(),
        search=("run__lot_code", "pack__blend__name"),
        sorts={
            "lot": "run__lot_code",
            "blend": ("pack__blend__name", "pack__bag_g", "run__on"),
            "bag": "pack__bag_g",
            "best": ("run__best_before", "id"),
            "here": "on_hand",
            "out": "out",
        },
        default="best",
        filters=(
            Filter(
                "kept",
                "Show",
                (
                    Choice("here", "On the shelf", Q(on_hand__gt=0)),
                    Choice("held", "On hold", Q(run__held=True)),
                    Choice("gone", "All gone", Q(on_hand=0)),
                ),
                default="here",
            ),
        ),
    )


def bags_page(pk: int) -> BagsPage:
    """Return the page of bags of one size of one run, or 404."""
    packed = queries.packed().filter(pk=pk).first()
    if packed is None:
        raise Http404("There are no such bags.")
    entries = packed.entries.select_related("by", "line__dispatch__customer")
    words = "bag stands" if packed.on_hand == 1 else "bags stand"
    return BagsPage(
        packed,
        f"{packed.on_hand} {words} on the shelf, {packed.out} are with customers.",
        tuple(entries.order_by("-on", "-id")),
        tuple(history.of(packed.run)[:20]),
    )


def dispatches_list(request: Request) -> Listing[Dispatch]:
    return Listing.of(
        request,
        queries.dispatches(),
        search=("customer__name", "note", "order__number"),
        sorts={
            "day": ("on", "id"),
            "customer": ("customer__name", "-on"),
            "bags": "bags",
        },
        default="-day",
        filters=(
            Filter(
                "kept",
                "Show",
                (
                    Choice("valid", "Valid", Q(void=False)),
                    Choice("void", "Void", Q(void=True)),
                ),
                default="valid",
            ),
        ),
    )


def dispatch_page(pk: int, unit: MassUnit) -> DispatchPage:
    """Return one dispatch's page, or 404."""
    dispatch = queries.dispatches().filter(pk=pk).first()
    if dispatch is None:
        raise Http404("There is no such dispatch.")
    lines = tuple(queries.sent_lines().filter(dispatch=dispatch))
    grams = sum(line.out * line.packed.pack.bag_g for line in lines)
    out = sum(line.out for line in lines)
    newest = history.of(dispatch).filter(verb="voided").first() if dispatch.void else None
    said = (
        f"This dispatch is void: {dispatch.customer} has nothing of it."
        if dispatch.void
        else f"{dispatch.customer} has {out} bags of it, {show_mass(grams, unit)}."
    )
    return DispatchPage(
        dispatch,
        lines,
        said,
        f"{newest.by}: {newest.note}" if newest else "",
        tuple(history.of(dispatch)[:20]),
    )


def roasted_list(request: Request, on: dt.date | None) -> Listing[Any]:
    """List roasted coffee; ``on`` asks for what was there at the end of that day."""
    return Listing.of(
        request,
        stocked(on),
        search=(
            "number",
            "approach_version__approach__lot__name",
            "approach_version__approach__name",
        ),
        sorts={
            "batch": "number",
            "roasted": ("roasted_at", "id"),
            "coffee": (
                "approach_version__approach__lot__name",
                "approach_version__approach__name",
                "roasted_at",
            ),
            "here": "on_hand_g",
        },
        default="roasted",
        filters=(
            Filter(
                "kept",
                "Show",
                (
                    Choice("here", "On hand", Q(on_hand_g__gt=0)),
                    Choice("held", "On hold", Q(on_hand_g__gt=0, verdict=Verdict.HOLD)),
                    Choice("gone", "Used up", Q(on_hand_g=0)),
                ),
                default="here",
            ),
        ),
        keep=("on",),
    )


def roasted_page(pk: int, unit: MassUnit) -> RoastedPage:
    """Return the page of one batch's roasted coffee, or 404."""
    batch = stocked().filter(pk=pk).first()
    if batch is None:
        raise Http404("There is no such batch.")
    waiting = queries.reserved_g([batch]).get(batch.pk, 0)
    held = ", on hold" if batch.verdict == Verdict.HOLD else ""
    return RoastedPage(
        batch,
        f"{show_mass(batch.on_hand_g, unit, 3)} of {show_mass(batch.made_g, unit, 3)} are on "
        f"hand{held}.",
        f"{show_mass(waiting, unit, 3)} of it are planned for runs under way." if waiting else "",
        tuple(batch.roasted_entries.select_related("by").order_by("-on", "-id")),
    )


def age_days(batch: Batch, on: dt.date) -> int:
    """Return days since the roast."""
    return (on - timezone.localtime(batch.roasted_at).date()).days
