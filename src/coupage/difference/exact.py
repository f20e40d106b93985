"""Exact binomial rules: how many right answers prove what, and how many answers to ask for."""

from __future__ import annotations

from math import sqrt
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import bdtr, bdtrc, ndtri

from coupage.difference.protocols import (
    TestName,
    check_risk,
    check_share,
    correct_from_share,
)
from coupage.errors import InputError

__all__ = ["assessors_needed", "max_correct_similar", "min_correct", "power", "power_similar"]

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
_MOST = 1_000_000
# A tail that equals the risk but for rounding counts as equal.
_SLACK = 1 + 1e-12


def _at_least(x: IntArray, n: IntArray, p: float) -> FloatArray:
    """P(X >= x) for binomial X; 1 for x <= 0, 0 for x > n."""
    inside = np.clip(x, 1, n)
    tail = bdtrc(inside - 1.0, n, p).astype(np.float64)
    return np.where(x <= 0, 1.0, np.where(x > n, 0.0, tail))


def _at_most(x: IntArray, n: IntArray, p: float) -> FloatArray:
    """P(X <= x) for binomial X; 0 for x < 0."""
    tail = bdtr(np.clip(x, 0, n) * 1.0, n, p).astype(np.float64)
    return np.where(x < 0, 0.0, tail)


def _start(n: IntArray, p: float, z: float) -> IntArray:
    near = n * p + z * np.sqrt(n * p * (1 - p))
    start: IntArray = np.clip(np.rint(near), 0, n + 1).astype(np.int64)
    return start


def _critical(n: IntArray, p: float, alpha: float) -> IntArray:
    """Smallest x with P(X >= x) <= alpha, n + 1 where there is none, for every n at once."""
    x = _start(n, p, -float(ndtri(alpha)))
    while (above := _at_least(x, n, p) > alpha * _SLACK).any():
        x = x + above
    while (spare := (x > 0) & (_at_least(x - 1, n, p) <= alpha * _SLACK)).any():
        x = x - spare
    return x


def _largest_similar(n: IntArray, p: float, beta: float) -> IntArray:
    """Largest x with P(X <= x) <= beta, -1 where there is none, for every n at once."""
    x = np.minimum(_start(n, p, float(ndtri(beta))), n)
    while (above := (x >= 0) & (_at_most(x, n, p) > beta * _SLACK)).any():
        x = x - above
    while (spare := (x < n) & (_at_most(x + 1, n, p) <= beta * _SLACK)).any():
        x = x + spare
    return x


def _count(n: int) -> IntArray:
    if n < 1 or n != int(n):
        raise InputError(f"n: {n} came; it must be a whole number of answers, at least 1")
    return np.array([int(n)], dtype=np.int64)


def _tail_risk(test: TestName, alpha: float, two_sided: bool) -> float:
    check_risk(alpha, "alpha")
    if not two_sided:
        return alpha
    if test != "2-AFC":
        raise InputError(
            f"two_sided: only a 2-AFC can miss on both sides, {test} came; leave two_sided out"
        )
    return alpha / 2


def min_correct(
    test: TestName, n: int, alpha: float, *, pd0: float = 0.0, two_sided: bool = False
) -> int:
    """Fewest right answers of n that prove a difference at risk alpha.

    Parameters
    ----------
    test : {"triangle", "duo-trio", "2-AFC", "3-AFC", "tetrad"}
    n : int
        Number of answers.
    alpha : float
        Risk of finding a difference where there is none.
    pd0 : float, default: 0
        Prove that more than this share of people can tell.
    two_sided : bool, default: False
        For a 2-AFC in which either product may prove the stronger: alpha is split.

    Returns
    -------
    int
        Smallest x with P(X >= x) <= alpha. ``n + 1`` when even n right answers prove nothing.

    Raises
    ------
    InputError
        When an argument is out of range.

    References
    ----------
    .. [1] ISO 4120:2021 (triangle), ISO 10399:2017 (duo-trio), ISO 5495:2005 (paired comparison):
       tables of the minimum number of correct responses.

    Examples
    --------
    Twelve assessors of a triangle test, 5 %: eight must be right (ISO 4120:1983, example).

    >>> min_correct("triangle", 12, 0.05)
    8
    """
    risk = _tail_risk(test, alpha, two_sided)
    return int(_critical(_count(n), correct_from_share(test, pd0), risk)[0])


def max_correct_similar(test: TestName, n: int, pd: float, beta: float) -> int:
    """Most right answers of n that still prove that at most a share `pd` can tell.

    Parameters
    ----------
    test : {"triangle", "duo-trio", "2-AFC", "3-AFC", "tetrad"}
    n : int
        Number of answers.
    pd : float
        Largest share of people who tell that still counts as alike.
    beta : float
        Risk of calling alike what a share `pd` tells apart.

    Returns
    -------
    int
        Largest x with P(X <= x) <= beta at `pd`. -1 when not even no right answer proves it.

    Raises
    ------
    InputError
        When an argument is out of range.

    References
    ----------
    .. [1] ISO 4120:2021 and ISO 10399:2017, Tables A.2 (maximum number of correct responses to
       conclude that two samples are similar).

    Examples
    --------
    >>> max_correct_similar("triangle", 30, 0.3, 0.05)
    11
    """
    check_risk(beta, "beta")
    return int(_largest_similar(_count(n), correct_from_share(test, pd), beta)[0])


def power(
    test: TestName,
    n: int,
    pd: float,
    alpha: float,
    *,
    pd0: float = 0.0,
    two_sided: bool = False,
) -> float:
    """Chance that n answers prove a difference when a share `pd` of people can tell.

    Parameters as in `min_correct`; `pd` is the true share.

    Examples
    --------
    Duo-trio, 20 answers, half of the people tell, 5 % [1]_.

    >>> round(power("duo-trio", 20, 0.5, 0.05), 7)
    0.6171727

    References
    ----------
    .. [1] R. H. B. Christensen, "Statistical methodology for sensory discrimination tests and its
       implementation in sensR", package vignette, 2023, section 3.2.
    """
    size = _count(n)
    needed = _critical(size, correct_from_share(test, pd0), _tail_risk(test, alpha, two_sided))
    true = correct_from_share(test, pd)
    chance = float(_at_least(needed, size, true)[0])
    return chance + float(_at_most(size - needed, size, true)[0]) if two_sided else chance


def power_similar(test: TestName, n: int, pd: float, beta: float, *, true_pd: float = 0.0) -> float:
    """Chance that n answers prove likeness (at most `pd` can tell) when `true_pd` can.

    Examples
    --------
    Duo-trio, 100 answers, limit 1/3, 5 %, no one can tell [1]_.

    >>> round(power_similar("duo-trio", 100, 1 / 3, 0.05), 6)
    0.955687

    References
    ----------
    .. [1] The vignette named in `power`, section 3.2.
    """
    check_risk(beta, "beta")
    size = _count(n)
    most = _largest_similar(size, correct_from_share(test, pd), beta)
    return float(_at_most(most, size, correct_from_share(test, true_pd))[0])


def assessors_needed(
    test: TestName,
    pd: float,
    alpha: float,
    beta: float,
    *,
    pd0: float = 0.0,
    rule: Literal["first", "stable"] = "first",
) -> int:
    """Number of answers at which a difference for a share `pd` is found with chance 1 - beta.

    Parameters
    ----------
    test : {"triangle", "duo-trio", "2-AFC", "3-AFC", "tetrad"}
    pd : float
        Share of people who can tell; for a d-prime pass
        ``share_from_correct(test, proportion_correct(test, d_prime))``.
    alpha, beta : float
        Risks of finding a difference where there is none, and of missing one that `pd` tells.
    pd0 : float, default: 0
        As in `min_correct`.
    rule : {"first", "stable"}, default: "first"
        Exact power rises in a sawtooth. "first" is the smallest n that reaches the target, as in
        the standards' tables; "stable" the smallest from which it is never lost again.

    Returns
    -------
    int

    Raises
    ------
    InputError
        When `pd` is not above `pd0`, or more than a million answers would be needed.

    References
    ----------
    .. [1] ISO 4120:2021, Table A.3; ISO 10399:2017, Table A.3.

    Examples
    --------
    >>> assessors_needed("triangle", 0.3, 0.05, 0.05)
    66
    """
    check_risk(alpha, "alpha")
    check_risk(beta, "beta")
    check_share(pd, "pd")
    if not pd0 < pd:
        raise InputError(f"pd: {pd} came; it must lie above pd0 = {pd0}, or nothing can be found")
    if rule not in {"first", "stable"}:
        raise InputError(f'rule: {rule!r} came; use "first" or "stable"')
    null, true = correct_from_share(test, pd0), correct_from_share(test, pd)
    first = _first_n(null, true, alpha, beta)
    if rule == "first":
        return first
    later = np.arange(first, first + first // 2 + 100, dtype=np.int64)
    failing = later[~_reaches(later, null, true, alpha, beta)]
    return int(failing[-1]) + 1 if len(failing) else first


def _reaches(n: IntArray, null: float, true: float, alpha: float, beta: float) -> NDArray[np.bool_]:
    missed = 1 - _at_least(_critical(n, null, alpha), n, true)
    reached: NDArray[np.bool_] = missed <= beta * _SLACK
    return reached


def _first_n(null: float, true: float, alpha: float, beta: float) -> int:
    # The normal sample size, halved, lies safely below the first tooth that reaches the target.
    z = max(0.0, -float(ndtri(alpha))) * sqrt(null * (1 - null))
    z += max(0.0, -float(ndtri(beta))) * sqrt(true * (1 - true))
    low = max(1, int(0.5 * (z / (true - null)) ** 2) - 20)
    while low <= _MOST:
        block = np.arange(low, low + 200 + low // 4, dtype=np.int64)
        found = np.flatnonzero(_reaches(block, null, true, alpha, beta))
        if len(found):
            return int(block[found[0]])
        low = int(block[-1]) + 1
    raise InputError(
        f"pd: the difference is too small; more than {_MOST:,} answers would be needed. "
        "Choose a larger pd or larger risks"
    )
