"""Limits for a proportion of right answers: exact, and by likelihood."""

from __future__ import annotations

from collections.abc import Callable

from scipy.special import betaincinv, chdtri, xlogy

__all__ = ["exact_lower", "exact_upper", "likelihood_limits"]


def exact_lower(correct: int, n: int, risk: float) -> float:
    """Largest p that is refuted from below at `risk` (one-sided Clopper-Pearson limit).

    References
    ----------
    .. [1] C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404-413.

    Examples
    --------
    >>> round(exact_lower(10, 15, 0.025), 4)
    0.3838
    """
    return float(betaincinv(correct, n - correct + 1, risk)) if correct else 0.0


def exact_upper(correct: int, n: int, risk: float) -> float:
    """Smallest p that is refuted from above at `risk` (one-sided Clopper-Pearson limit).

    Examples
    --------
    >>> round(exact_upper(4, 15, 0.025), 3)
    0.551
    """
    return float(betaincinv(correct + 1, n - correct, 1 - risk)) if correct < n else 1.0


def likelihood_limits(correct: int, n: int, guess: float, level: float) -> tuple[float, float]:
    """Proportions from `guess` to 1 whose likelihood is not too far below the best.

    Twice the log likelihood ratio stays below the chi-square point with one degree of freedom.
    Since the best is sought at or above `guess` too, the limits are never empty.

    Examples
    --------
    >>> [round(p, 4) for p in likelihood_limits(10, 15, 1 / 3, 0.95)]
    [0.4155, 0.8652]
    """

    def height(p: float) -> float:
        return float(xlogy(correct, p) + xlogy(n - correct, 1 - p))

    top = max(correct / n, guess)
    floor = height(top) - float(chdtri(1, 1 - level)) / 2
    return crossing(height, floor, top, guess), crossing(height, floor, top, 1.0)


def crossing(height: Callable[[float], float], floor: float, top: float, end: float) -> float:
    """Where a curve that falls from `top` towards `end` passes `floor`; `end` when it does not."""
    if height(end) >= floor:
        return end
    inside, outside = top, end
    while abs(outside - inside) > 1e-10:
        middle = (inside + outside) / 2
        if height(middle) >= floor:
            inside = middle
        else:
            outside = middle
    return inside
