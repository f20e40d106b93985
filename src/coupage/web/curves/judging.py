"""A curve held against its reference: the chosen one, or the band of released roasts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from coupage.errors import InputError
from coupage.roast import (
    Curve,
    CurveBand,
    CurveComparison,
    Phase,
    clean_curve,
    compare_curves,
    curve_band,
    phases,
)
from coupage.web.curves import packing, queries
from coupage.web.curves.models import Probe, ReferenceCurve, RoastCurve

__all__ = ["Against", "Judged", "judge"]

LEAST_FOR_BAND = 4
Against = str  # "reference" or "band"


@dataclass(frozen=True, slots=True)
class Judged:
    """A curve, its phases, and how it compares.

    ``held_against`` says in words against what; ``comparison`` is None where there is nothing to
    compare with, and ``why_not`` then says why. ``offered`` are the ways there are.
    """

    curve: Curve
    phases: tuple[Phase, ...]
    reference_phases: tuple[Phase, ...]
    comparison: CurveComparison | None
    against: Against
    held_against: str
    why_not: str
    offered: tuple[Against, ...]
    probe: Probe
    reference: ReferenceCurve | None
    band: CurveBand | None


def judge(stored: RoastCurve, against: str = "") -> Judged:
    """Hold a stored curve against the chosen reference, or else against the band."""
    batch = stored.batch
    approach = batch.approach_version.approach
    probe = queries.probe_of(batch.machine)
    own = _columns(stored)
    curve = clean_curve(own, smoothing_seconds=probe.smoothing_s)
    marks = {m.name: float(m.temperature_c) for m in probe.marks.all()} if probe.pk else {}
    chosen = queries.reference_for(approach, batch.machine)
    if chosen is not None and chosen.curve.batch_id == batch.pk:
        chosen = None  # nothing is learned from holding a roast against itself
    others = list(queries.approved(approach, batch.machine, batch.pk))
    offered = tuple(
        name
        for name, there in (
            ("reference", chosen is not None),
            ("band", len(others) >= LEAST_FOR_BAND),
        )
        if there
    )
    against = against if against in offered else (offered[0] if offered else "")
    band, middle, comparison, why_not = None, None, None, ""
    try:
        if against == "reference" and chosen is not None:
            reference = _columns(chosen.curve)
            middle = clean_curve(reference, smoothing_seconds=probe.smoothing_s)
            comparison = _compare(reference, own, probe)
        elif against == "band":
            band = _band(_Others(others), str(probe.align), probe.smoothing_s)
            middle = band.as_curve()
            comparison = _compare(band, own, probe)
        else:
            why_not = _nothing(len(others))
    except InputError as problem:
        why_not = f"It cannot be compared: {problem}."
    return Judged(
        curve=curve,
        phases=phases(curve, marks),
        reference_phases=phases(middle, marks) if middle is not None else (),
        comparison=comparison,
        against=against,
        held_against=_said(against, chosen, len(others), float(probe.band_c)),
        why_not=why_not,
        offered=offered,
        probe=probe,
        reference=chosen,
        band=band,
    )


def _columns(stored: RoastCurve) -> dict[str, Any]:
    seconds, degrees = packing.unpack(bytes(stored.readings))
    return {"seconds": seconds, "bean_temperature": degrees}


def _compare(
    reference: Mapping[str, Any] | CurveBand, own: Mapping[str, Any], probe: Probe
) -> CurveComparison:
    return compare_curves(
        reference,
        own,
        align=probe.align,  # type: ignore[arg-type]
        band=float(probe.band_c),
        skip_seconds=float(probe.skip_s),
        smoothing_seconds=float(probe.smoothing_s),
    )


class _Others:
    """Curves that compare equal when their readings do, so that a cache can hold their band."""

    def __init__(self, curves: list[RoastCurve]) -> None:
        self.curves = curves
        self.key = tuple(curve.digest for curve in curves)

    def __hash__(self) -> int:
        return hash(self.key)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Others) and self.key == other.key


@lru_cache(maxsize=64)
def _band(others: _Others, align: str, smoothing_s: int) -> CurveBand:
    return curve_band(
        [_columns(curve) for curve in others.curves],
        align=align,  # type: ignore[arg-type]
        smoothing_seconds=float(smoothing_s),
        rng=np.random.default_rng(20),
    )


def _nothing(others: int) -> str:
    return (
        "There is nothing to hold it against yet: choose a reference curve, or release "
        f"{LEAST_FOR_BAND} roasts of this approach on this machine with curves (there "
        f"{'is' if others == 1 else 'are'} {others} besides this one)."
    )


def _said(against: str, chosen: ReferenceCurve | None, others: int, band: float) -> str:
    if against == "reference" and chosen is not None:
        return f"batch {chosen.curve.batch.number}, the chosen reference, ± {band:g} °C"
    if against == "band":
        return f"the band that {others} released roasts kept to"
    return ""
