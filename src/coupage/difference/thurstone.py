"""Thurstonian d-prime: how far apart two coffees taste, in units of the noise of one tasting.

The same difference gives different proportions of right answers in different tests; d-prime is
what they share. Each curve but the tetrad's is a bivariate normal probability, so it has a closed
form in the normal distribution function and Owen's T.
"""

from __future__ import annotations

from math import inf, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, owens_t

from coupage.difference.protocols import TestName, check_share, guess_chance
from coupage.errors import InputError

__all__ = ["d_prime", "proportion_correct", "slope"]

FloatArray = NDArray[np.float64]
_LARGEST = 40.0

# The tetrad's integrand is analytic and decays like a normal density, so the trapezoid rule on an
# even grid is exact to double precision (error exp(-(2 pi / 0.2)^2 / 6)).
_STEP = 0.2
_NODES: FloatArray = np.arange(-50.0, 51.0) * _STEP


def _density(z: Any) -> Any:
    """Standard normal density, of a number or an array."""
    return np.exp(-0.5 * np.square(z)) / sqrt(2 * np.pi)


def _curve(test: TestName, d: float) -> float:
    """Proportion of right answers for a checked distance."""
    if d > _LARGEST:
        return 1.0
    if test == "2-AFC":
        return float(ndtr(d / sqrt(2)))
    if test == "3-AFC":
        return float(ndtr(d / sqrt(2)) - 2 * owens_t(d / sqrt(2), 1 / sqrt(3)))
    if test == "triangle":
        return float(1 - 4 * owens_t(d / sqrt(6), sqrt(3)))
    if test == "duo-trio":
        a, b = ndtr(d / sqrt(2)), ndtr(d / sqrt(6))
        return float(1 - a - b + 2 * a * b)
    near = ndtr(_NODES - d)
    wrong = _density(_NODES) * near * (2 * ndtr(_NODES) - near)
    return float(1 - 2 * _STEP * wrong.sum())


def proportion_correct(test: TestName, d_prime: float) -> float:
    """Expected proportion of right answers at a Thurstonian distance.

    Parameters
    ----------
    test : {"triangle", "duo-trio", "2-AFC", "3-AFC", "tetrad"}
    d_prime : float
        Distance of the means in units of the standard deviation of one tasting, 0 or more.

    Returns
    -------
    float
        From the guessing chance at 0 up to 1.

    Raises
    ------
    InputError
        When the test is unknown or the distance negative.

    References
    ----------
    .. [1] D. M. Ennis, "The power of sensory discrimination methods", J. Sensory Studies 8 (1993)
       353-370 (models of the triangle, duo-trio, 2-AFC and 3-AFC).
    .. [2] J. M. Ennis, D. M. Ennis, D. Yip, M. O'Mahony, "Thurstonian models for variants of the
       method of tetrads", Brit. J. Math. Stat. Psychol. 51 (1998) 205-215.
    .. [3] D. B. Owen, "Tables for computing bivariate normal probabilities", Ann. Math. Stat. 27
       (1956) 1075-1090.

    Examples
    --------
    >>> [round(proportion_correct(t, 1), 4) for t in ("triangle", "duo-trio", "2-AFC")]
    [0.418, 0.5825, 0.7602]
    """
    guess_chance(test)
    d = float(d_prime)
    if not d >= 0:
        raise InputError(f"d_prime: {d_prime} came; it must be 0 or more")
    return _curve(test, d)


def slope(test: TestName, d_prime: float) -> float:
    """Derivative of `proportion_correct` by d-prime.

    Examples
    --------
    >>> round(slope("2-AFC", 0), 6)
    0.282095
    """
    guess_chance(test)
    d = float(d_prime)
    if test == "2-AFC":
        return float(_density(d / sqrt(2)) / sqrt(2))
    if test == "3-AFC":
        return float(_density(d / sqrt(2)) * ndtr(d / sqrt(6)) * sqrt(2))
    if test == "triangle":
        return float(4 * _density(d / sqrt(6)) * (ndtr(d / sqrt(2)) - 0.5) / sqrt(6))
    if test == "duo-trio":
        a, b = d / sqrt(2), d / sqrt(6)
        first = _density(a) * (2 * ndtr(b) - 1) / sqrt(2)
        return float(first + _density(b) * (2 * ndtr(a) - 1) / sqrt(6))
    both = _density(_NODES) * _density(_NODES - d) * (ndtr(_NODES) - ndtr(_NODES - d))
    return float(4 * _STEP * both.sum())


def d_prime(test: TestName, proportion_correct: float) -> float:
    """Thurstonian distance at which a proportion of right answers is expected.

    Parameters
    ----------
    test : {"triangle", "duo-trio", "2-AFC", "3-AFC", "tetrad"}
    proportion_correct : float
        Fraction of right answers.

    Returns
    -------
    float
        0 at or below the guessing chance, infinity at 1.

    Raises
    ------
    InputError
        When the test is unknown or the proportion outside 0 to 1.

    Examples
    --------
    21 of 45 in a triangle test [1]_.

    >>> round(d_prime("triangle", 21 / 45), 4)
    1.2871

    References
    ----------
    .. [1] R. H. B. Christensen, "Statistical methodology for sensory discrimination tests and its
       implementation in sensR", package vignette, 2023, section 2.
    """
    check_share(proportion_correct, "proportion_correct")
    if proportion_correct <= guess_chance(test):
        return 0.0
    if proportion_correct == 1:
        return inf
    low, high = 0.0, _LARGEST
    # Bisection: the triangle's and the tetrad's curves start flat, where Newton steps run away.
    while True:
        middle = (low + high) / 2
        if not low < middle < high:
            return middle
        if _curve(test, middle) < proportion_correct:
            low = middle
        else:
            high = middle
