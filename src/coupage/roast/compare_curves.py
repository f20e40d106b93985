"""One roast against its reference: where it left the band, by how much, in one sentence."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coupage.errors import InputError
from coupage.roast.curve import Curve, clean_curve
from coupage.roast.curve_band import CurveBand

__all__ = ["CurveComparison", "Excursion", "compare_curves"]

Floats = NDArray[np.float64]
Align = Literal["charge", "turning point"]


@dataclass(frozen=True, slots=True)
class Excursion:
    """A stretch outside the band; ``largest`` is the signed deviation from the reference there."""

    start_seconds: float
    end_seconds: float
    largest: float
    at_seconds: float


@dataclass(frozen=True, slots=True)
class CurveComparison:
    """A curve beside its reference on the time they share.

    Attributes
    ----------
    seconds
        The reference's time, shape ``(t,)``.
    reference, curve, low, high
        Temperatures of reference and curve, and the band's edges, shape ``(t,)``.
    reference_rate_of_rise, rate_of_rise
        Degrees a minute, shape ``(t,)``.
    shift_seconds
        How far the curve was moved to align it.
    excursions
        Stretches outside the band, in order of time.
    area_between
        Area between the curves, degree-minutes.
    largest_deviation, largest_at
        Signed deviation of largest size, and its second.
    duration_difference, end_difference
        Curve minus reference: seconds from the aligned start to the drop, degrees at the drop.
    compared_share
        Part of the shared time with readings on both sides.
    spikes, gaps
        What was left out of the curve.
    """

    seconds: Floats
    reference: Floats
    curve: Floats
    low: Floats
    high: Floats
    reference_rate_of_rise: Floats
    rate_of_rise: Floats
    shift_seconds: float
    excursions: tuple[Excursion, ...]
    area_between: float
    largest_deviation: float
    largest_at: float
    duration_difference: float
    end_difference: float
    compared_share: float
    spikes: int
    gaps: tuple[tuple[float, float], ...]

    @property
    def difference(self) -> Floats:
        """Curve minus reference, shape ``(t,)``."""
        return self.curve - self.reference

    @property
    def seconds_outside(self) -> float:
        return sum(e.end_seconds - e.start_seconds for e in self.excursions)

    def sentence(self, unit: str = "°C") -> str:
        """Say where and by how much the roast left the band."""
        if not self.excursions:
            text = (
                f"It stayed within the band; its largest deviation was "
                f"{_signed(self.largest_deviation, unit)} at {_clock(self.largest_at)}"
            )
        else:
            worst = max(self.excursions, key=lambda e: abs(e.largest))
            times = len(self.excursions)
            more = "" if times == 1 else f", the worst of {times} times"
            text = (
                f"It left the band from {_clock(worst.start_seconds)} to "
                f"{_clock(worst.end_seconds)}{more}, by up to {_signed(worst.largest, unit)} at "
                f"{_clock(worst.at_seconds)}"
            )
        late = "later" if self.duration_difference > 0 else "earlier"
        drop = f"dropped {abs(self.duration_difference):.0f} s {late}"
        if abs(self.duration_difference) < 0.5:
            drop = "dropped at the same time"
        return f"{text}; {drop}, {_signed(self.end_difference, unit)} at the end."


def compare_curves(
    reference: Mapping[str, ArrayLike] | CurveBand,
    curve: Mapping[str, ArrayLike],
    *,
    align: Align = "charge",
    band: float = 2.0,
    skip_seconds: float = 0.0,
    least_seconds: float = 5.0,
    smoothing_seconds: float = 31.0,
) -> CurveComparison:
    """Compare a roast curve with its reference.

    Parameters
    ----------
    reference
        Columns ``seconds`` and ``bean_temperature`` of the reference roast, or the band of many
        approved ones, from `curve_band`.
    curve
        The same columns of the roast to judge; any rate, gaps and spikes tolerated.
    align
        Second 0 is charge in both; ``"turning point"`` lays the lowest readings over each other,
        for loggers that were started late.
    band
        Allowed distance in degrees on either side of a single reference (our own default; the
        roaster sets it).
    skip_seconds
        Leave out this much after charge, where the probe still falls.
    least_seconds
        Shorter stretches outside the band are not told.
    smoothing_seconds
        As in `clean_curve`.

    Returns
    -------
    CurveComparison

    Raises
    ------
    InputError
        When a curve cannot be used, has no turning point to align at, or shares no time with the
        reference.

    Examples
    --------
    >>> t = np.arange(0.0, 601.0)
    >>> plan = {"seconds": t, "bean_temperature": 100 + t / 6}
    >>> roast = {"seconds": t, "bean_temperature": 103 + t / 6}
    >>> result = compare_curves(plan, roast)
    >>> round(result.area_between, 6), round(result.largest_deviation, 6)
    (30.0, 3.0)
    """
    judged = clean_curve(curve, smoothing_seconds=smoothing_seconds)
    if isinstance(reference, CurveBand):
        middle, low, high = reference.as_curve(), reference.low, reference.high
    else:
        if not band > 0:
            raise InputError(f"band: {band} degrees is no band; give a number above 0")
        middle = clean_curve(reference, smoothing_seconds=smoothing_seconds)
        low, high = middle.temperature - band, middle.temperature + band
    shift = 0.0 if align == "charge" else _turning_shift(middle, judged, align)
    moved = judged.seconds + shift
    shared = (
        (middle.seconds >= max(moved[0], middle.seconds[0] + skip_seconds) - 1e-9)
        & (middle.seconds <= moved[-1] + 1e-9)
    )  # fmt: skip
    if shared.sum() < 2:
        raise InputError(
            f"curve: it runs from {moved[0]:.0f} to {moved[-1]:.0f} s, the reference from "
            f"{middle.seconds[0]:.0f} to {middle.seconds[-1]:.0f} s; they share no time"
        )
    seconds = middle.seconds[shared]
    degrees = np.interp(seconds, moved, judged.temperature)
    away = degrees - middle.temperature[shared]
    if not np.isfinite(away).any():
        raise InputError("curve: it and the reference have no readings at the same time")
    # Rounded, so that of equal deviations the first is told.
    largest = int(np.nanargmax(np.abs(away).round(6)))
    outside = (degrees < low[shared]) | (degrees > high[shared])
    known = np.isfinite(away)
    both = known[1:] & known[:-1]
    pieces = np.diff(seconds) * (np.abs(away[1:]) + np.abs(away[:-1])) / 2
    return CurveComparison(
        seconds=seconds,
        reference=middle.temperature[shared],
        curve=degrees,
        low=low[shared],
        high=high[shared],
        reference_rate_of_rise=middle.rate_of_rise[shared],
        rate_of_rise=np.interp(seconds, moved, judged.rate_of_rise),
        shift_seconds=shift,
        excursions=_excursions(seconds, away, outside, least_seconds),
        area_between=float(pieces[both].sum() / 60),
        largest_deviation=float(away[largest]),
        largest_at=float(seconds[largest]),
        duration_difference=float(moved[-1] - middle.seconds[-1]),
        end_difference=float(_last(judged.temperature) - _last(middle.temperature)),
        compared_share=float(known.mean()),
        spikes=judged.spikes,
        gaps=judged.gaps,
    )


def _turning_shift(middle: Curve, judged: Curve, align: str) -> float:
    if align != "turning point":
        raise InputError(f"align: {align!r} is not known; use 'charge' or 'turning point'")
    if middle.turning_point is None or judged.turning_point is None:
        which = "reference" if middle.turning_point is None else "curve"
        raise InputError(f"{which}: it has no turning point; align at charge instead")
    return middle.turning_point - judged.turning_point


def _excursions(
    seconds: Floats, away: Floats, outside: NDArray[np.bool_], least_seconds: float
) -> tuple[Excursion, ...]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], outside.astype(int), [0]])))
    found = []
    for first, after in zip(edges[::2], edges[1::2], strict=True):
        last = after - 1
        if seconds[last] - seconds[first] >= least_seconds:
            peak = first + int(np.argmax(np.abs(away[first:after]).round(6)))
            found.append(
                Excursion(
                    float(seconds[first]),
                    float(seconds[last]),
                    float(away[peak]),
                    float(seconds[peak]),
                )
            )
    return tuple(found)


def _last(degrees: Floats) -> float:
    return float(degrees[np.isfinite(degrees)][-1])


def _clock(seconds: float) -> str:
    return f"{'-' if seconds < 0 else ''}{int(abs(seconds)) // 60}:{int(abs(seconds)) % 60:02d}"


def _signed(degrees: float, unit: str) -> str:
    return f"{degrees:+.1f} {unit}"
