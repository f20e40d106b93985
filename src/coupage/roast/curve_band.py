"""The band that approved roasts of one approach keep to, over the whole curve at once.

Limits drawn point by point are left somewhere by far more curves than they say. This band is as
wide at each moment as past roasts scattered there, times one factor for the whole curve, so that
a new roast like the old ones stays inside all the way with the stated chance.

References
----------
.. [1] Degras, D., "Simultaneous confidence bands for the mean of functional data", WIREs Comput.
   Stat. 9, 2017, e1397: bands from the maximum of a studentised process, simulated.
.. [2] Hahn, G. J. and Meeker, W. Q., Statistical Intervals, 1991, section 4.7: the prediction
   interval mean +- t s sqrt(1 + 1/n), which the band becomes when curves differ by constants only.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coupage.errors import InputError
from coupage.roast.curve import Curve, clean_curve

__all__ = ["CurveBand", "curve_band"]

Floats = NDArray[np.float64]
_LEAST_CURVES = 4
_DRAWS = 2000
_MOMENTS = 120  # points at which the maximum is watched; roast curves are far smoother than this


@dataclass(frozen=True, slots=True)
class CurveBand:
    """Center and edges of the band, shape ``(t,)`` each.

    Attributes
    ----------
    rate_of_rise
        Mean rate of rise of the approved curves.
    factor
        Half-width in standard deviations.
    curves
        How many curves made it.
    """

    seconds: Floats
    center: Floats
    low: Floats
    high: Floats
    rate_of_rise: Floats
    turning_point: float | None
    coverage: float
    factor: float
    curves: int

    def as_curve(self) -> Curve:
        """The center as a curve of its own."""
        return Curve(self.seconds, self.center, self.rate_of_rise, self.turning_point, 0, ())


def curve_band(
    curves: Sequence[Mapping[str, ArrayLike]],
    *,
    coverage: float = 0.9,
    align: Literal["charge", "turning point"] = "charge",
    least_half_width: float = 1.0,
    smoothing_seconds: float = 31.0,
    rng: np.random.Generator | None = None,
) -> CurveBand:
    """Band of approved past curves for the next one.

    Parameters
    ----------
    curves
        Columns ``seconds`` and ``bean_temperature`` of n >= 4 approved roasts.
    coverage
        Chance that a further roast like these stays inside from start to end.
    align
        As in `compare_curves`; at the turning point, all move to the mean of theirs.
    least_half_width
        Degrees below which the band never narrows (batches within 1 degree count as equal: common
        practice).
    smoothing_seconds
        As in `clean_curve`.
    rng
        For the simulated factor; the same band each time without it.

    Returns
    -------
    CurveBand
        On the time that all curves share.

    Raises
    ------
    InputError
        When there are too few curves, they share no time, or one cannot be used.
    """
    if len(curves) < _LEAST_CURVES:
        raise InputError(f"curves: {len(curves)} came; a band needs at least {_LEAST_CURVES}")
    if not 0 < coverage < 1:
        raise InputError(f"coverage: {coverage} must lie between 0 and 1, such as 0.9")
    cleaned = [clean_curve(c, smoothing_seconds=smoothing_seconds) for c in curves]
    shifts, turning = _shifts(cleaned, align)
    start = max(c.seconds[0] + s for c, s in zip(cleaned, shifts, strict=True))
    end = min(c.seconds[-1] + s for c, s in zip(cleaned, shifts, strict=True))
    seconds = np.arange(np.ceil(start - 1e-9), np.floor(end + 1e-9) + 1)
    if seconds.size < 2:
        raise InputError("curves: they share no time; check that second 0 is charge in each")
    moved = [
        (c, np.interp(seconds, c.seconds + s, c.temperature))
        for c, s in zip(cleaned, shifts, strict=True)
    ]
    degrees = np.array([d for _, d in moved])
    if not np.isfinite(degrees).all():
        worst = int(np.isnan(degrees).sum(axis=1).argmax())
        raise InputError(f"curves: number {worst + 1} has a gap; build the band from whole curves")
    center, spread = degrees.mean(axis=0), degrees.std(axis=0, ddof=1)
    factor = _factor(degrees - center, coverage, least_half_width, rng)
    half = np.maximum(factor * spread, least_half_width)
    rise = np.mean(
        [
            np.interp(seconds, c.seconds + s, c.rate_of_rise)
            for c, s in zip(cleaned, shifts, strict=True)
        ],
        axis=0,
    )
    return CurveBand(
        seconds, center, center - half, center + half, rise, turning, coverage, factor, len(curves)
    )


def _shifts(cleaned: list[Curve], align: str) -> tuple[list[float], float | None]:
    lowest = [c.turning_point for c in cleaned]
    points = [p for p in lowest if p is not None]
    turning = float(np.round(np.mean(points))) if len(points) == len(cleaned) else None
    if align == "charge":
        return [0.0] * len(cleaned), turning
    if align != "turning point":
        raise InputError(f"align: {align!r} is not known; use 'charge' or 'turning point'")
    if turning is None:
        raise InputError("curves: not every one has a turning point; align at charge instead")
    return [turning - p for p in points], turning


def _factor(
    residuals: Floats, coverage: float, least: float, rng: np.random.Generator | None
) -> float:
    """Quantile of how far, in its own band's units, a further curve strays.

    Curves with the residuals' covariance are drawn n + 1 at a time: n make a band, one tries it.
    So the doubt about mean and spread from few curves is in the factor too.
    """
    rng = np.random.default_rng(20) if rng is None else rng
    n = residuals.shape[0]
    some = np.unique(np.linspace(0, residuals.shape[1] - 1, _MOMENTS).astype(int))
    shapes = residuals[:, some] / np.sqrt(n - 1)
    strays = np.empty(_DRAWS)
    for i in range(_DRAWS):
        drawn = rng.standard_normal((n + 1, n)) @ shapes
        away = np.abs(drawn[n] - drawn[:n].mean(axis=0))
        spread = drawn[:n].std(axis=0, ddof=1)
        # Within the least width nothing counts as outside, however small the scatter there.
        ratio = np.divide(
            away, spread, out=np.zeros_like(away), where=(spread > 0) & (away > least)
        )
        strays[i] = ratio.max()
    return float(np.quantile(strays, coverage))
