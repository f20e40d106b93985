"""Control charts of one number per batch: individuals, EWMA, CUSUM.

References
----------
.. [1] NIST/SEMATECH e-Handbook of Statistical Methods, sections 6.3.2.2 (individuals), 6.3.2.4
   (EWMA), 6.3.2.3 (CUSUM).
.. [2] ASTM Manual on Presentation of Data and Control Chart Analysis: for ranges of two,
   d2 = 1.128 and D4 = 3.267 (three decimals, as the handbook's examples use them).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coupage.errors import InputError
from coupage.roast.run_rules import RuleSet, run_rules

__all__ = ["ControlChart", "Signal", "control_chart"]

Floats = NDArray[np.float64]
Kind = Literal["individuals", "ewma", "cusum"]
D2_OF_TWO = 1.128
D4_OF_TWO = 3.267


@dataclass(frozen=True, slots=True)
class Signal:
    """One point at which a chart calls for attention.

    Attributes
    ----------
    index
        Position of the value, from 0.
    rule
        Which rule, such as ``"Western Electric 2"``, ``"moving range"``, ``"EWMA limit"`` or
        ``"CUSUM limit"``.
    side
        ``"high"``, ``"low"`` or ``""`` where the rule has no side.
    words
        Why, to finish "a signal because ...".
    """

    index: int
    rule: str
    side: Literal["high", "low", ""]
    words: str


@dataclass(frozen=True, slots=True)
class ControlChart:
    """A chart's lines, points and signals.

    Attributes
    ----------
    values
        The series as given, shape ``(n,)``.
    points
        What is drawn: the values (individuals), the moving averages (EWMA), both shape ``(n,)``,
        or the sums above and below (CUSUM), shape ``(n, 2)``, both counted from 0 upward.
    center, lower, upper
        Center line and control limits of ``points``; for CUSUM 0, 0 and the decision interval.
    target, sigma
        What the values are measured against, and their short-term standard deviation.
    moving_range, range_center, range_upper
        Ranges of neighbours, shape ``(n - 1,)``, their mean over the baseline and upper limit.
    signals
        In order of the points; several rules may speak at one point.
    """

    kind: Kind
    values: Floats
    points: Floats
    center: float
    lower: float
    upper: float
    target: float
    sigma: float
    moving_range: Floats
    range_center: float
    range_upper: float
    signals: tuple[Signal, ...]

    @property
    def first(self) -> int | None:
        """Index of the first point out of control; None when there is none."""
        return self.signals[0].index if self.signals else None

    def explain(
        self, what: str = "value", labels: Sequence[str] | None = None, digits: int = 2
    ) -> str:
        """Say in one or two sentences what the chart shows first.

        Parameters
        ----------
        what
            Name of the number, such as ``"loss in %"``.
        labels
            One name per point; without them points are counted from 1.
        digits
            Decimals to write.
        """
        if not self.signals:
            return (
                f"The {what} is in control: all {self.values.size} points agree with chance "
                f"around {self.target:.{digits}f}."
            )
        i = self.signals[0].index
        reasons = [s for s in self.signals if s.index == i]
        why = "; ".join(f"{s.words} ({s.rule})" for s in reasons)
        named = f"Point {i + 1}" if labels is None else labels[i]
        text = (
            f"{named} is the first out of control: {what} {self.values[i]:.{digits}f} against "
            f"{self.target:.{digits}f}; {why}."
        )
        side = next((s.side for s in reasons if s.side), "")
        start = self._onset(i, side)
        if side and start < i:
            begun = f"point {start + 1}" if labels is None else labels[start]
            text += f" It has run {side} since {begun}."
        return text

    def _onset(self, index: int, side: str) -> int:
        """First point of the unbroken stretch on the signal's side that ends at ``index``."""
        if self.kind == "cusum":
            drawn = self.points[:, 1 if side == "low" else 0]
        else:
            drawn = (self.points - self.center) * (-1 if side == "low" else 1)
        start = index
        while start > 0 and drawn[start - 1] > 0:
            start -= 1
        return start


def control_chart(
    values: ArrayLike,
    kind: Kind = "individuals",
    *,
    center: float | None = None,
    sigma: float | None = None,
    baseline: int | slice | None = None,
    rules: RuleSet = "western electric",
    weight: float = 0.2,
    width: float = 3.0,
    slack: float = 0.5,
    decision: float = 5.0,
) -> ControlChart:
    """Chart one number per batch and find where it left control.

    Parameters
    ----------
    values
        One number per batch in order of roasting, shape ``(n,)``, n >= 2.
    kind
        ``"individuals"`` sees large jumps, ``"ewma"`` and ``"cusum"`` slow drifts.
    center, sigma
        Target and standard deviation where they are known; else the baseline's mean and its mean
        moving range over 1.128 [1]_.
    baseline
        The points that set center and sigma: the first so many, or a slice; all when None.
    rules
        Runs rules of the individuals chart: ``"western electric"``, ``"nelson"`` or ``"none"``
        (then only the limits count).
    weight, width
        EWMA: weight of the newest value, and the limits' distance in standard deviations of the
        average in the long run.
    slack, decision
        CUSUM: reference value and decision interval, both in sigma.

    Returns
    -------
    ControlChart

    Raises
    ------
    InputError
        When the values are too few or not all finite, or a setting is out of its range.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, sections 6.3.2.2 to 6.3.2.4.

    Examples
    --------
    The ten flow rates of the e-Handbook, section 6.3.2.2.

    >>> chart = control_chart([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    >>> print(f"{chart.lower:.4f} {chart.center:.2f} {chart.upper:.4f}")
    45.8159 50.81 55.8041
    """
    x = _series(values)
    base = _baseline(x, baseline)
    target = float(base.mean()) if center is None else float(center)
    moving = np.abs(np.diff(x))
    range_center = float(np.abs(np.diff(base)).mean())
    if sigma is not None:
        range_center = D2_OF_TWO * float(sigma)
    spread = range_center / D2_OF_TWO
    if not (np.isfinite([spread, target]).all() and spread > 0):
        raise InputError(
            f"sigma: {spread} is no spread; give a number above 0, or a baseline that varies"
        )
    range_upper = D4_OF_TWO * range_center
    if kind == "individuals":
        points, middle, lower, upper = x, target, target - 3 * spread, target + 3 * spread
        signals = _individuals_signals(x, target, spread, rules, moving, range_upper)
    elif kind == "ewma":
        points, lower, upper = _ewma(x, target, spread, weight, width)
        middle = target
        signals = _limit_signals(points, lower, upper, "EWMA limit", "the moving average")
    elif kind == "cusum":
        points, upper = _cusum(x, target, spread, slack, decision)
        middle, lower = 0.0, 0.0
        signals = _cusum_signals(points, upper)
    else:
        raise InputError(f"kind: {kind!r} is not known; use individuals, ewma or cusum")
    return ControlChart(
        kind=kind,
        values=x,
        points=points,
        center=middle,
        lower=lower,
        upper=upper,
        target=target,
        sigma=spread,
        moving_range=moving,
        range_center=range_center,
        range_upper=range_upper,
        signals=tuple(sorted(signals, key=lambda s: s.index)),
    )


def _series(values: ArrayLike) -> Floats:
    x = np.asarray(values, dtype=float)
    if x.ndim != 1 or x.size < 2:
        raise InputError(f"values: shape {x.shape} came; give one number per batch, at least two")
    bad = np.flatnonzero(~np.isfinite(x))
    if bad.size:
        raise InputError(f"values: point {bad[0] + 1} is {x[bad[0]]}; leave such batches out")
    return x


def _baseline(x: Floats, baseline: int | slice | None) -> Floats:
    if baseline is None:
        return x
    base = x[: int(baseline)] if not isinstance(baseline, slice) else x[baseline]
    if base.size < 2:
        raise InputError(f"baseline: {baseline} picks {base.size} points; it needs at least two")
    return base


def _individuals_signals(
    x: Floats, target: float, sigma: float, rules: RuleSet, moving: Floats, range_upper: float
) -> list[Signal]:
    z = (x - target) / sigma
    chosen = run_rules(rules) or run_rules("western electric")[:1]
    found = [
        Signal(int(i), rule.name if rules != "none" else "3 sigma limit", _side(z[i]), rule.words)
        for rule in chosen
        for i in np.flatnonzero(rule.holds(z))
    ]
    words = "it jumped further from the one before than chance allows"
    found += [
        Signal(int(i) + 1, "moving range", "", words) for i in np.flatnonzero(moving > range_upper)
    ]
    return found


def _side(z: float) -> Literal["high", "low"]:
    return "high" if z > 0 else "low"


def _ewma(
    x: Floats, target: float, sigma: float, weight: float, width: float
) -> tuple[Floats, float, float]:
    if not 0 < weight <= 1:
        raise InputError(f"weight: {weight} is not above 0 and up to 1; usual is 0.1 to 0.3")
    if not width > 0:
        raise InputError(f"width: {width} is not above 0; usual is 2.7 to 3")
    from scipy.signal import lfilter  # costs over a second to import; most charts need none of it

    points = target + lfilter([weight], [1, weight - 1], x - target)
    half = width * sigma * np.sqrt(weight / (2 - weight))
    return np.asarray(points), float(target - half), float(target + half)


def _limit_signals(
    points: Floats, lower: float, upper: float, rule: str, what: str
) -> list[Signal]:
    outside = np.flatnonzero((points > upper) | (points < lower))
    return [
        Signal(
            int(i), rule, side, f"{what} lies {'above' if side == 'high' else 'below'} its limit"
        )
        for i in outside
        for side in [_side(points[i] - (lower + upper) / 2)]
    ]


def _cusum(
    x: Floats, target: float, sigma: float, slack: float, decision: float
) -> tuple[Floats, float]:
    if not slack >= 0:
        raise InputError(f"slack: {slack} is negative; usual is 0.5 (half the shift to find)")
    if not decision > 0:
        raise InputError(f"decision: {decision} is not above 0; usual is 4 or 5")
    steps = np.column_stack([x - target, target - x]) - slack * sigma
    sums = np.zeros(2)
    points = np.empty_like(steps)
    for i, step in enumerate(steps):
        sums = np.maximum(0.0, sums + step)
        points[i] = sums
    return points, float(decision * sigma)


def _cusum_signals(points: Floats, limit: float) -> list[Signal]:
    words = {"high": "the sum of what was above", "low": "the sum of what was below"}
    sides: tuple[tuple[int, Literal["high", "low"]], ...] = ((0, "high"), (1, "low"))
    return [
        Signal(int(i), "CUSUM limit", side, f"{words[side]} the target passes its limit")
        for column, side in sides
        for i in np.flatnonzero(points[:, column] > limit)
    ]
