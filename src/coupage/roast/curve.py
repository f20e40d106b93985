"""A roast curve, cleaned: spikes out, gaps marked, evenly spaced, smoothed, with its rate of rise.

Loggers differ in rate, drop readings and jump; probes differ in lag and place, so no temperature
has a meaning of its own here. Phases end at the temperatures that the roaster sets.

References
----------
.. [1] Savitzky, A. and Golay, M. J. E., "Smoothing and differentiation of data by simplified least
   squares procedures", Anal. Chem. 36, 1964, 1627-1639.
.. [2] Fritsch, F. N. and Carlson, R. E., "Monotone piecewise cubic interpolation", SIAM J. Numer.
   Anal. 17, 1980, 238-246: resampling that does not overshoot.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coupage.errors import InputError

__all__ = ["Curve", "Phase", "clean_curve", "phases"]

Floats = NDArray[np.float64]
_LEAST_READINGS = 10
_SPIKE_RATE = 1.0  # degrees a second: beans do not warm this fast, a turning point is not a spike


@dataclass(frozen=True, slots=True)
class Curve:
    """A cleaned curve on an even grid.

    Attributes
    ----------
    seconds, temperature, rate_of_rise
        Shape ``(t,)``: time from charge, smoothed temperature, and degrees a minute; the last two
        are NaN inside gaps.
    turning_point
        Seconds at which the bean probe is lowest; None when that is at an end of the curve.
    spikes
        How many readings were left out as jumps.
    gaps
        Stretches without readings, as (from, to) in seconds.
    """

    seconds: Floats
    temperature: Floats
    rate_of_rise: Floats
    turning_point: float | None
    spikes: int
    gaps: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Phase:
    """One stretch of a roast, up to the mark that names it.

    ``mean_rate_of_rise`` counts from the turning point on; NaN where the phase ends before it.
    """

    until: str
    start_seconds: float
    end_seconds: float
    share: float
    mean_rate_of_rise: float


def clean_curve(
    curve: Mapping[str, ArrayLike],
    *,
    step_seconds: float = 1.0,
    smoothing_seconds: float = 31.0,
    spike_degrees: float = 4.0,
    gap_seconds: float = 30.0,
    plausible: tuple[float, float] = (1.0, 600.0),
) -> Curve:
    """Clean a logged curve.

    Parameters
    ----------
    curve
        Columns ``seconds`` (0 at charge) and ``bean_temperature``, any rate, any order; readings
        that are no numbers are skipped.
    step_seconds
        Spacing of the result.
    smoothing_seconds
        Width of the local quadratic fits [1]_.
    spike_degrees
        A reading this far from the median of the five around it is a jump.
    gap_seconds
        Longer times without a reading are gaps (at least three times the usual spacing).
    plausible
        Readings outside are a broken probe.

    Returns
    -------
    Curve

    Raises
    ------
    InputError
        When a column is missing, lengths differ, or fewer than ten readings are usable.

    References
    ----------
    .. [1] Savitzky and Golay, Anal. Chem. 36, 1964, 1627-1639.

    Examples
    --------
    >>> t = np.arange(0, 600, 2.0)
    >>> curve = clean_curve({"seconds": t, "bean_temperature": 90 + t / 6})
    >>> float(curve.rate_of_rise[100].round(6))
    10.0
    """
    from scipy.interpolate import PchipInterpolator
    from scipy.signal import savgol_filter

    if not (step_seconds > 0 and smoothing_seconds > 0):
        raise InputError(
            f"step_seconds, smoothing_seconds: {step_seconds}, {smoothing_seconds} must be above 0"
        )
    seconds, degrees = _readings(curve, plausible)
    jump = _spikes(seconds, degrees, spike_degrees)
    seconds, degrees = seconds[~jump], degrees[~jump]
    first = np.ceil(seconds[0] / step_seconds)
    grid = step_seconds * np.arange(first, np.floor(seconds[-1] / step_seconds) + 1)
    even = PchipInterpolator(seconds, degrees)(grid)
    width = 2 * int(smoothing_seconds / step_seconds / 2) + 1
    width = max(3, min(width, grid.size - (grid.size + 1) % 2))
    if grid.size < 3:
        raise InputError(f"step_seconds: {step_seconds} leaves {grid.size} points; make it smaller")
    order = min(2, width - 1)
    smooth = savgol_filter(even, width, order)
    rise = 60 * savgol_filter(even, width, order, deriv=1, delta=step_seconds)
    lowest = int(np.argmin(smooth))
    turning = float(grid[lowest]) if 0 < lowest < grid.size - 1 else None
    gaps = _gaps(seconds, gap_seconds)
    for start, end in gaps:
        inside = (grid > start) & (grid < end)
        smooth[inside] = rise[inside] = np.nan
    return Curve(grid, smooth, rise, turning, int(jump.sum()), gaps)


def phases(curve: Curve, marks: Mapping[str, float]) -> tuple[Phase, ...]:
    """Cut a roast where it first passes each temperature after the turning point.

    Parameters
    ----------
    curve
        From `clean_curve`.
    marks
        Name and temperature of each end of a phase, such as ``{"yellow": 150.0}``; the last phase
        ends with the drop. Marks that the roast never reached are left out.

    Returns
    -------
    tuple of Phase
    """
    start = float(curve.seconds[0])
    drop = float(curve.seconds[-1])
    since = curve.seconds > (start if curve.turning_point is None else curve.turning_point)
    ends = []
    for name, degrees in marks.items():
        hit = np.flatnonzero(since & (curve.temperature >= degrees))
        if hit.size and hit[0] > 0:
            ends.append((_crossing(curve, int(hit[0]), degrees), name))
    result = []
    for end, name in [*sorted(ends), (drop, "drop")]:
        # Before the turning point the probe cools to the beans: that is no rise of theirs.
        inside = since & (curve.seconds >= start) & (curve.seconds <= end)
        rises = curve.rate_of_rise[inside]
        rises = rises[np.isfinite(rises)]
        mean = float(rises.mean()) if rises.size else float("nan")
        share = (end - start) / (drop - float(curve.seconds[0]))
        result.append(Phase(name, start, end, share, mean))
        start = end
    return tuple(result)


def _crossing(curve: Curve, i: int, degrees: float) -> float:
    """Time between two grid points at which the temperature is met, by straight line."""
    below, above = curve.temperature[i - 1 : i + 1]
    if not below < degrees:
        return float(curve.seconds[i])
    part = (degrees - below) / (above - below)
    return float(curve.seconds[i - 1] + part * (curve.seconds[i] - curve.seconds[i - 1]))


def _readings(
    curve: Mapping[str, ArrayLike], plausible: tuple[float, float]
) -> tuple[Floats, Floats]:
    """Usable readings in order of time, those of one second averaged."""
    for name in ("seconds", "bean_temperature"):
        if name not in curve:
            raise InputError(f"curve: column {name!r} is missing; there are {', '.join(curve)}")
    seconds = np.asarray(curve["seconds"], dtype=float)
    degrees = np.asarray(curve["bean_temperature"], dtype=float)
    if seconds.shape != degrees.shape or seconds.ndim != 1:
        raise InputError(
            f"curve: seconds has shape {seconds.shape}, bean_temperature {degrees.shape}; both "
            "must be one column of the same length"
        )
    good = np.isfinite(seconds) & (degrees >= plausible[0]) & (degrees <= plausible[1])
    times, where = np.unique(seconds[good], return_inverse=True)
    if times.size < _LEAST_READINGS:
        raise InputError(
            f"curve: {times.size} usable readings came; a curve needs at least {_LEAST_READINGS}"
        )
    return times, np.bincount(where, degrees[good]) / np.bincount(where)


def _spikes(seconds: Floats, degrees: Floats, spike_degrees: float) -> NDArray[np.bool_]:
    from scipy.ndimage import median_filter

    away = np.abs(degrees - median_filter(degrees, size=5, mode="nearest"))
    return np.asarray((away > spike_degrees) & (away > _SPIKE_RATE * np.median(np.diff(seconds))))


def _gaps(seconds: Floats, gap_seconds: float) -> tuple[tuple[float, float], ...]:
    waits = np.diff(seconds)
    long = np.flatnonzero(waits > max(gap_seconds, 3 * float(np.median(waits))))
    return tuple((float(seconds[i]), float(seconds[i + 1])) for i in long)
