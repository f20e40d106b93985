"""What is expected to be ordered: weekly history carried on, with its doubt.

The library's innovations state space model of exponential smoothing (level, damped trend, and a
yearly season where two years are there) is fitted to the weeks; which of its forms is used is
decided by the corrected information criterion. With few weeks there is no trend to see, and the
plain mean says so. The roaster's own number stands above all of it.

References
----------
.. [1] Hyndman, R. J., Koehler, A. B., Ord, J. K. and Snyder, R. D., Forecasting with Exponential
   Smoothing: The State Space Approach, Springer, 2008: chapters 2 (models), 7.3 (choice by the
   criterion) and 6 (prediction intervals).
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["FEW_WEEKS", "Forecast", "forecast"]

Floats = NDArray[np.float64]

FEW_WEEKS = 12
"""Fewer weeks than this show no trend; the mean of what there is stands in its place."""
_SEASON = 52
_LEAST = 0.0


@dataclass(frozen=True, slots=True)
class Forecast:
    """The weeks to come of one series, in kilograms.

    Attributes
    ----------
    mean, low50, high50, low90, high90
        One figure a week; nothing is below none.
    method
        How it was worked out, as a sentence without a full stop.
    few
        Whether there were too few weeks for more than a mean.
    """

    mean: tuple[float, ...]
    low50: tuple[float, ...]
    high50: tuple[float, ...]
    low90: tuple[float, ...]
    high90: tuple[float, ...]
    method: str
    few: bool


def forecast(weeks_kg: Sequence[float], ahead: int) -> Forecast:
    """Carry weekly kilograms on, ``ahead`` weeks far; the last week given is a whole one.

    Weeks without an order are weeks of nothing and belong in the series.
    """
    y = np.asarray(weeks_kg, dtype=float)
    if y.size < FEW_WEEKS or float(np.ptp(y)) == 0.0:
        return _by_mean(y, ahead)
    return _smoothed(y, ahead)


def _by_mean(y: Floats, ahead: int) -> Forecast:
    """Mean of the weeks there are; a new week scatters around it as they did (Student's t)."""
    mean = float(y.mean()) if y.size else 0.0
    weeks = "1 week" if y.size == 1 else f"{y.size} weeks"
    said = f"the plain mean of {weeks}; a trend shows from {FEW_WEEKS} weeks on"
    if y.size >= FEW_WEEKS:
        said = "every week was the same; that is carried on"
    if y.size < 2:
        return _of(np.full(ahead, mean), None, said, few=True)
    from scipy.stats import t

    spread = float(y.std(ddof=1)) * np.sqrt(1 + 1 / y.size)
    reach = {q: spread * float(t.ppf(0.5 + q / 2, y.size - 1)) for q in (0.5, 0.9)}
    return _of(np.full(ahead, mean), reach, said, few=y.size < FEW_WEEKS)


def _smoothed(y: Floats, ahead: int) -> Forecast:
    # The library takes two seconds to load: only whoever forecasts waits for it.
    import pandas as pd
    from statsmodels.tsa.exponential_smoothing.ets import ETSModel

    best: tuple[float, Any, str] | None = None
    for trend, season, said in _forms(y.size):
        model = ETSModel(
            pd.Series(y),
            error="add",
            trend="add" if trend else None,
            damped_trend=trend,
            seasonal="add" if season else None,
            seasonal_periods=_SEASON if season else None,
        )
        with warnings.catch_warnings():
            # It warns of a search that stops at the edge of what is allowed; the criterion judges.
            warnings.simplefilter("ignore")
            fitted = model.fit(disp=False, maxiter=200)
        if np.isfinite(fitted.aicc) and (best is None or fitted.aicc < best[0]):
            best = (float(fitted.aicc), fitted, said)
    if best is None:
        return _by_mean(y, ahead)
    _, fitted, said = best
    prediction = fitted.get_prediction(start=y.size, end=y.size + ahead - 1)
    frames = {q: prediction.summary_frame(alpha=1 - q) for q in (0.5, 0.9)}
    mean = np.asarray(frames[0.5]["mean"], dtype=float)
    ends = {
        q: (np.asarray(f["pi_lower"], dtype=float), np.asarray(f["pi_upper"], dtype=float))
        for q, f in frames.items()
    }
    text = f"exponential smoothing of {y.size} weeks: {said}"
    return _bounded(mean, ends[0.5], ends[0.9], text, few=False)


def _forms(weeks: int) -> list[tuple[bool, bool, str]]:
    forms = [(False, False, "a level"), (True, False, "a level with a damped trend")]
    if weeks >= 2 * _SEASON:
        forms.append((False, True, "a level with a yearly season"))
    return forms


def _of(mean: Floats, reach: dict[float, float] | None, said: str, *, few: bool) -> Forecast:
    half, most = (reach[0.5], reach[0.9]) if reach else (np.inf, np.inf)
    return _bounded(mean, (mean - half, mean + half), (mean - most, mean + most), said, few=few)


def _bounded(
    mean: Floats,
    fifty: tuple[Floats, Floats],
    ninety: tuple[Floats, Floats],
    said: str,
    *,
    few: bool,
) -> Forecast:
    def weeks(values: Floats) -> tuple[float, ...]:
        return tuple(float(v) for v in np.maximum(values, _LEAST))

    return Forecast(
        weeks(mean), weeks(fifty[0]), weeks(fifty[1]), weeks(ninety[0]), weeks(ninety[1]), said, few
    )
