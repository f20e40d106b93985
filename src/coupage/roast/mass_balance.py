"""What roasting takes away: loss of a batch, and shares before and after the drum.

A batch loses water and matter; each coffee loses its own part, so the shares of a blend that is
mixed green differ from the shares in the bag.

References
----------
.. [1] Mass balance, own arithmetic: roasted = green (1 - loss) for each coffee.
.. [2] Schenker, S., Investigations on the hot air roasting of coffee beans, Diss. ETH No. 13620,
   2000 (secondary, after a trade lesson): usual losses are 14 to 20 % of the green mass.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coupage.errors import InputError

__all__ = ["green_needed", "green_shares", "loss", "roasted_shares"]

Floats = NDArray[np.float64]
_SUM_TOLERANCE = 1e-9


def loss(green_kg: float, roasted_kg: float) -> float:
    """Weight loss of one batch, as a fraction of its green mass.

    Parameters
    ----------
    green_kg, roasted_kg
        Mass charged and mass dropped, in kilograms (or any one unit).

    Returns
    -------
    float
        1 - roasted / green.

    Raises
    ------
    InputError
        When a mass is not a positive number, or more came out than went in.

    Examples
    --------
    >>> round(loss(12.0, 10.2), 4)
    0.15
    """
    green, roasted = float(green_kg), float(roasted_kg)
    for name, mass in (("green_kg", green), ("roasted_kg", roasted)):
        if not (np.isfinite(mass) and mass > 0):
            raise InputError(f"{name}: {mass} is no mass; give kilograms above 0")
    if roasted > green:
        raise InputError(
            f"roasted_kg: {roasted} kg came out of {green} kg green; a roast cannot gain mass, "
            "so check both weights and their units"
        )
    return 1.0 - roasted / green


def roasted_shares(green_shares: ArrayLike, losses: ArrayLike) -> Floats:
    """Shares after roasting of a blend that is mixed green.

    Parameters
    ----------
    green_shares
        Fractions of the green mass, shape ``(..., q)``, each row summing to 1.
    losses
        Loss of each coffee as a fraction from 0 up to but not including 1, shape ``(q,)`` or one
        number for all.

    Returns
    -------
    ndarray
        Fractions of the roasted mass, shape ``(..., q)``: g (1 - L) / sum g (1 - L) [1]_.

    Raises
    ------
    InputError
        When shares or losses are out of range, or their lengths differ.

    References
    ----------
    .. [1] Mass balance, own arithmetic.

    Examples
    --------
    Half and half by green mass, at 14 and 18 % loss, is 51.2 to 48.8 in the bag.

    >>> roasted_shares([0.5, 0.5], [0.14, 0.18]).round(3)
    array([0.512, 0.488])
    """
    green = _checked_shares("green_shares", green_shares)
    kept = 1.0 - _checked_losses(losses, green.shape[-1])
    return _normalised(green * kept)


def green_shares(roasted_shares: ArrayLike, losses: ArrayLike) -> Floats:
    """Shares to mix green so that the roasted blend has the wanted shares.

    Parameters
    ----------
    roasted_shares
        Wanted fractions of the roasted mass, shape ``(..., q)``, each row summing to 1.
    losses
        Loss of each coffee as a fraction, shape ``(q,)`` or one number for all.

    Returns
    -------
    ndarray
        Fractions of the green mass, shape ``(..., q)``: r / (1 - L) over their sum.

    Raises
    ------
    InputError
        When shares or losses are out of range, or their lengths differ.

    Examples
    --------
    >>> green_shares([0.5, 0.5], [0.14, 0.18]).round(4)
    array([0.4881, 0.5119])
    """
    roasted = _checked_shares("roasted_shares", roasted_shares)
    kept = 1.0 - _checked_losses(losses, roasted.shape[-1])
    return _normalised(roasted / kept)


def green_needed(roasted_kg: ArrayLike, losses: ArrayLike) -> Floats:
    """Green mass that gives a roasted mass: roasted / (1 - loss).

    Parameters
    ----------
    roasted_kg
        Wanted roasted mass in kilograms, any shape that broadcasts with ``losses``.
    losses
        Loss as a fraction from 0 up to but not including 1.

    Returns
    -------
    ndarray
        Kilograms of green, in the broadcast shape.

    Raises
    ------
    InputError
        When a mass is negative or a loss out of range.

    Examples
    --------
    >>> green_needed(1.0, [0.12, 0.16, 0.20]).round(3)
    array([1.136, 1.19 , 1.25 ])
    """
    mass = np.asarray(roasted_kg, dtype=float)
    if not (np.isfinite(mass).all() and (mass >= 0).all()):
        raise InputError(f"roasted_kg: {mass.tolist()} must be kilograms of 0 or more")
    return np.asarray(mass / (1.0 - _checked_losses(losses)))


def _normalised(parts: Floats) -> Floats:
    return np.asarray(parts / parts.sum(axis=-1, keepdims=True))


def _checked_shares(name: str, shares: ArrayLike) -> Floats:
    x = np.asarray(shares, dtype=float)
    if x.ndim == 0 or x.shape[-1] == 0:
        raise InputError(f"{name}: give one fraction per coffee, not {shares!r}")
    if not np.isfinite(x).all() or (x < -_SUM_TOLERANCE).any():
        raise InputError(f"{name}: {x.tolist()} must be fractions from 0 to 1")
    sums = x.sum(axis=-1)
    worst = float(np.ravel(sums)[np.abs(np.ravel(sums) - 1).argmax()]) if sums.size else 1.0
    if abs(worst - 1) > _SUM_TOLERANCE:
        raise InputError(f"{name}: a blend sums to {worst:.6g}; its fractions must sum to 1")
    return x


def _checked_losses(losses: ArrayLike, coffees: int | None = None) -> Floats:
    fractions = np.asarray(losses, dtype=float)
    if coffees is not None and fractions.ndim and fractions.shape[-1] != coffees:
        raise InputError(
            f"losses: {fractions.shape[-1]} came for {coffees} coffees; give one loss per coffee"
        )
    if not ((fractions >= 0) & (fractions < 1)).all():
        raise InputError(
            f"losses: {fractions.tolist()} must be fractions from 0 up to 1, such as 0.16 for 16 %"
        )
    return fractions
