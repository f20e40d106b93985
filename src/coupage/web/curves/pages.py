"""All that the pages about curves show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from django.db.models import Q
from django.http import Http404

from coupage.roast import CurveComparison, Phase
from coupage.web.batches.models import Batch, Machine
from coupage.web.common.listing import Choice, Filter, Listing
from coupage.web.common.requests import Request
from coupage.web.curves import queries
from coupage.web.curves.drawing import CurveChart, CurveLine
from coupage.web.curves.judging import Judged, judge
from coupage.web.curves.models import ReferenceCurve, RoastCurve

__all__ = ["CurvePage", "CurvesPage", "curve_page", "curves_page"]


@dataclass(frozen=True, slots=True)
class CurvesPage:
    curves: Listing[RoastCurve]


@dataclass(frozen=True, slots=True)
class PhaseRow:
    """A phase beside the reference's; texts as shown."""

    until: str
    length: str
    share: str
    rise: str
    reference_length: str
    reference_rise: str


@dataclass(frozen=True, slots=True)
class OutsideRow:
    start: str
    end: str
    largest: str
    at: str


@dataclass(frozen=True, slots=True)
class CurvePage:
    batch: Batch
    curve: RoastCurve | None
    sentence: str
    held_against: str
    facts: tuple[tuple[str, str], ...]
    chart: CurveChart | None
    outside: tuple[OutsideRow, ...]
    phases: tuple[PhaseRow, ...]
    has_marks: bool
    against: str
    offered: tuple[str, ...]
    reference: ReferenceCurve | None
    is_reference: bool
    previous: Batch | None
    following: Batch | None


def curves_page(request: Request) -> CurvesPage:
    machines = tuple(
        Choice(str(machine.pk), machine.name, Q(batch__machine=machine))
        for machine in Machine.objects.all()
    )
    listing = Listing.of(
        request,
        queries.curves(),
        search=(
            "batch__number",
            "batch__approach_version__approach__lot__name",
            "batch__approach_version__approach__name",
            "filename",
        ),
        sorts={
            "batch": "batch__number",
            "roasted": ("batch__roasted_at", "id"),
            "length": "duration_s",
            "drop": "drop_c",
        },
        default="-roasted",
        filters=(
            Filter("machine", "Machine", machines),
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
    return CurvesPage(listing)


def curve_page(pk: int, against: str) -> CurvePage:
    """Return the page of one batch's curve, or 404 when there is no such batch."""
    batch = (
        Batch.objects.select_related("approach_version__approach__lot", "machine")
        .filter(pk=pk)
        .first()
    )
    if batch is None:
        raise Http404("There is no such batch.")
    stored = RoastCurve.objects.filter(batch=batch).first()
    if stored is None or stored.void:
        return _without(batch, stored)
    stored.batch = batch
    judged = judge(stored, against)
    comparison = judged.comparison
    own = queries.reference_for(batch.approach_version.approach, batch.machine)
    previous, following = _neighbours(batch)
    return CurvePage(
        batch=batch,
        curve=stored,
        sentence=comparison.sentence().replace(" -", " −") if comparison else judged.why_not,
        held_against=judged.held_against,
        facts=_facts(stored, comparison),
        chart=_chart(judged, batch.number),
        outside=_outside(comparison),
        phases=_phases(judged),
        has_marks=bool(judged.phases[:-1]),
        against=judged.against,
        offered=judged.offered,
        reference=own,
        is_reference=own is not None and own.curve_id == stored.pk,
        previous=previous,
        following=following,
    )


def _without(batch: Batch, stored: RoastCurve | None) -> CurvePage:
    said = "Its curve is void." if stored else "No curve was taken in for this batch yet."
    return CurvePage(
        batch, stored, said, "", (), None, (), (), False, "", (), None, False, *_neighbours(batch)
    )


def _neighbours(batch: Batch) -> tuple[Batch | None, Batch | None]:
    """The roasts of this approach on this machine with curves, before and after this one."""
    others = Batch.objects.filter(
        approach_version__approach=batch.approach_version.approach_id,
        machine=batch.machine_id,
        curve__void=False,
    )
    before = others.filter(roasted_at__lt=batch.roasted_at).order_by("-roasted_at", "-id").first()
    after = others.filter(roasted_at__gt=batch.roasted_at).order_by("roasted_at", "id").first()
    return before, after


def _facts(stored: RoastCurve, comparison: CurveComparison | None) -> tuple[tuple[str, str], ...]:
    lost = []
    if stored.spikes:
        lost.append(f"{stored.spikes} jump{'s' if stored.spikes != 1 else ''} left out")
    if stored.gap_s:
        lost.append(f"{stored.gap_s} s without readings")
    facts = [
        ("Length", clock(stored.duration_s)),
        ("At the drop", f"{stored.drop_c} °C"),
        (
            "Turning point",
            "–" if stored.turning_point_s is None else clock(stored.turning_point_s),
        ),
        ("Readings", f"{stored.count}" + (f"; {', '.join(lost)}" if lost else "")),
        ("File", stored.filename),
    ]
    if comparison is not None:
        facts += [
            (
                "Largest deviation",
                f"{signed(comparison.largest_deviation)} °C at {clock(comparison.largest_at)}",
            ),
            ("Area between the curves", f"{comparison.area_between:.1f} °C·min"),
            ("Time outside the band", f"{comparison.seconds_outside:.0f} s"),
        ]
        if comparison.shift_seconds:
            facts.append(("Moved to align", f"{signed(comparison.shift_seconds, 0)} s"))
    return tuple(facts)


def _chart(judged: Judged, number: str) -> CurveChart:
    curve, comparison = judged.curve, judged.comparison
    own = CurveLine(number, curve.seconds, curve.temperature, curve.rate_of_rise)
    marks = tuple((p.end_seconds, p.until) for p in judged.phases[:-1])
    if comparison is None:
        return CurveChart(own, marks=marks, caption=f"Batch {number}.")
    moved = CurveLine(
        number, curve.seconds + comparison.shift_seconds, curve.temperature, curve.rate_of_rise
    )
    reference = CurveLine(
        judged.held_against,
        comparison.seconds,
        comparison.reference,
        comparison.reference_rate_of_rise,
    )
    return CurveChart(
        moved,
        reference,
        comparison.low,
        comparison.high,
        marks=tuple((at + comparison.shift_seconds, name) for at, name in marks),
        outside=tuple((e.start_seconds, e.end_seconds) for e in comparison.excursions),
        caption=f"Batch {number} against {judged.held_against}.",
    )


def _outside(comparison: CurveComparison | None) -> tuple[OutsideRow, ...]:
    if comparison is None:
        return ()
    return tuple(
        OutsideRow(
            clock(e.start_seconds), clock(e.end_seconds), signed(e.largest), clock(e.at_seconds)
        )
        for e in comparison.excursions
    )


def _phases(judged: Judged) -> tuple[PhaseRow, ...]:
    of_reference = {p.until: p for p in judged.reference_phases}

    def row(phase: Phase) -> PhaseRow:
        aim = of_reference.get(phase.until)
        return PhaseRow(
            until=phase.until,
            length=clock(phase.end_seconds - phase.start_seconds),
            share=f"{100 * phase.share:.0f} %",
            rise=_rise(phase.mean_rate_of_rise),
            reference_length=clock(aim.end_seconds - aim.start_seconds) if aim else "–",
            reference_rise=_rise(aim.mean_rate_of_rise) if aim else "–",
        )

    return tuple(row(phase) for phase in judged.phases)


def _rise(value: float) -> str:
    return signed(value) if np.isfinite(value) else "–"


def clock(seconds: float) -> str:
    whole = round(abs(seconds))
    return f"{'−' if seconds < 0 else ''}{whole // 60}:{whole % 60:02d}"


def signed(value: float, places: int = 1) -> str:
    return f"{value:+.{places}f}".replace("-", "−")
