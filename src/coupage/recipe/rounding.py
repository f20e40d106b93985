"""Round proportions to a step so that they still add up."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coupage.errors import InputError

__all__ = ["parts_of_step", "round_shares"]

_EVEN = 1e-9


def round_shares(x: ArrayLike, step: float) -> NDArray[np.float64]:
    """Round shares to multiples of a step by the largest remainder; the sum stays 1.

    Every share is cut down to whole steps; the steps left over go one each to the largest
    remainders, the earlier coffee first on a tie. No share moves by a whole step or more. A share
    under one step may become 0.

    Parameters
    ----------
    x : array of shape (q,)
        Shares, 0 or more, that sum to 1 within 1e-9.
    step
        Such as 0.05; a whole number of steps must make 1.

    Returns
    -------
    ndarray of shape (q,)

    Raises
    ------
    InputError
        When the shares do not sum to 1, one is negative, or the step does not divide 1.

    References
    ----------
    .. [1] Balinski, M. L. & Young, H. P. (1975), "The quota method of apportionment",
       American Mathematical Monthly 82(7), 701-730.

    Examples
    --------
    The first example of the paper [1]_, 100 seats:

    >>> votes = np.array([5117, 4400, 162, 161, 160])
    >>> (round_shares(votes / votes.sum(), 0.01) * 100).round().astype(int).tolist()
    [51, 44, 2, 2, 1]
    """
    shares = np.asarray(x, dtype=float)
    if shares.ndim != 1 or not len(shares):
        raise InputError(f"x: it has shape {shares.shape}; give the shares of one recipe")
    if not np.all(np.isfinite(shares)) or np.any(shares < -_EVEN):
        raise InputError(f"x: {shares.tolist()} must be finite and not negative")
    if abs(shares.sum() - 1) > _EVEN:
        raise InputError(f"x: the shares sum to {shares.sum():.9g}; they must sum to 1")
    parts = parts_of_step(step)
    exact = np.maximum(shares, 0) * parts
    # 0.29 * 100 is 28.999...96: what is a whole step but for rounding noise counts as one.
    whole = np.floor(exact + _EVEN)
    remainders = np.round(exact - whole, 9)
    left = parts - int(whole.sum())
    order = np.argsort(-remainders, kind="stable")
    whole[order[:left]] += 1
    return np.asarray(whole / parts, dtype=float)


def parts_of_step(step: float) -> int:
    """How many steps make 1, or InputError when no whole number does."""
    if np.isfinite(step) and 0 < step <= 1:
        parts = round(1 / step)
        if abs(parts * step - 1) <= _EVEN:
            return parts
    raise InputError(
        f"step: {step} does not divide 1 into whole steps; use a fraction such as 0.05 or 0.01"
    )
