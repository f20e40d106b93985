"""Equivalence of two means: two one-sided t tests (TOST)."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtr, stdtrit

from coupage.difference.protocols import check_risk
from coupage.errors import InputError

__all__ = ["Equivalence", "equivalence"]

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Equivalence:
    """Outcome of two one-sided tests.

    Attributes
    ----------
    low, high, alpha : float
        Limits within which a difference counts as none, and the risk of either test.
    difference, se, df : float
        Difference of means (a - b), its standard error, degrees of freedom.
    p_low, p_high : float
        Against a difference at or below `low`, and at or above `high`.
    interval_low, interval_high : float
        Confidence limits of the difference at 1 - 2 alpha; they lie within the limits exactly when
        `equivalent` holds.
    equivalent, different : bool
        Whether both tests succeed; whether the interval leaves out zero.
    """

    low: float
    high: float
    alpha: float
    difference: float
    se: float
    df: float
    p_low: float
    p_high: float
    interval_low: float
    interval_high: float
    equivalent: bool
    different: bool

    @property
    def p(self) -> float:
        """The larger of the two p values: that of equivalence."""
        return max(self.p_low, self.p_high)

    def interval(self, level: float) -> tuple[float, float]:
        """Confidence limits of the difference at another level."""
        check_risk(level, "level")
        reach = self.se * float(stdtrit(self.df, (1 + level) / 2))
        return self.difference - reach, self.difference + reach


def _numbers(values: ArrayLike, name: str) -> FloatArray:
    numbers = np.asarray(values, dtype=float)
    if numbers.ndim != 1 or len(numbers) < 2 or not np.isfinite(numbers).all():
        raise InputError(f"{name}: give at least 2 finite numbers in one row")
    return numbers


def _standard_error(
    a: FloatArray, b: FloatArray, paired: bool, equal_variance: bool
) -> tuple[float, float]:
    """Standard error of the difference of means and its degrees of freedom."""
    if paired:
        if len(a) != len(b):
            raise InputError(f"b: {len(b)} numbers came for {len(a)} pairs; give one each")
        return float((a - b).std(ddof=1)) / sqrt(len(a)), len(a) - 1.0
    va, vb = float(a.var(ddof=1)), float(b.var(ddof=1))
    if equal_variance:
        df = len(a) + len(b) - 2.0
        pooled = ((len(a) - 1) * va + (len(b) - 1) * vb) / df
        return sqrt(pooled * (1 / len(a) + 1 / len(b))), df
    ea, eb = va / len(a), vb / len(b)
    if ea + eb == 0:
        return 0.0, len(a) + len(b) - 2.0
    return sqrt(ea + eb), (ea + eb) ** 2 / (ea**2 / (len(a) - 1) + eb**2 / (len(b) - 1))


def equivalence(
    a: ArrayLike,
    b: ArrayLike,
    *,
    low: float,
    high: float,
    alpha: float = 0.05,
    paired: bool = False,
    equal_variance: bool = False,
) -> Equivalence:
    """Test whether two means differ by less than a tolerance.

    Parameters
    ----------
    a, b : (m,), (n,) array_like
        The two samples, at least 2 numbers each.
    low, high : float
        A difference of means (a - b) strictly between them counts as none.
    alpha : float, default: 0.05
        Risk of calling equivalent what is not; below 0.5.
    paired : bool, default: False
        Whether a[i] and b[i] belong together (the same taster).
    equal_variance : bool, default: False
        Pool the variances (Student) instead of keeping them apart (Welch).

    Returns
    -------
    Equivalence

    Raises
    ------
    InputError
        When there are too few numbers, no scatter at all, or the limits are out of order.

    References
    ----------
    .. [1] D. J. Schuirmann, "A comparison of the two one-sided tests procedure and the power
       approach for assessing the equivalence of average bioavailability", J. Pharmacokinet.
       Biopharm. 15 (1987) 657-680.
    .. [2] B. L. Welch, Biometrika 34 (1947) 28-35 (degrees of freedom).

    Examples
    --------
    >>> result = equivalence([5, 6, 5.5, 6.5], [5.5, 5, 6, 6], low=-2, high=2)
    >>> result.equivalent, round(result.p, 3)
    (True, 0.002)
    """
    first, second = _numbers(a, "a"), _numbers(b, "b")
    if not low < high:
        raise InputError(f"low and high: {low} and {high} came; low must be below high")
    if not 0 < alpha < 0.5:
        raise InputError(f"alpha: {alpha} came; it must lie between 0 and 0.5")
    se, df = _standard_error(first, second, paired, equal_variance)
    if se == 0:
        raise InputError(
            "a and b: no scatter at all, so the doubt about their difference cannot be told; "
            "give unrounded or more numbers"
        )
    difference = float(first.mean() - second.mean())
    p_low = float(stdtr(df, -(difference - low) / se))
    p_high = float(stdtr(df, (difference - high) / se))
    reach = se * float(stdtrit(df, 1 - alpha))
    return Equivalence(
        low=float(low),
        high=float(high),
        alpha=alpha,
        difference=difference,
        se=se,
        df=df,
        p_low=p_low,
        p_high=p_high,
        interval_low=difference - reach,
        interval_high=difference + reach,
        equivalent=max(p_low, p_high) <= alpha,
        different=abs(difference) > reach,
    )
