"""An order for somebody who comes late, so that the table as a whole stays as even as it can."""

from __future__ import annotations

from itertools import combinations, permutations

import numpy as np
from numpy.typing import NDArray

from coupage.errors import InputError
from coupage.table.orders import order_balance

__all__ = ["late_order"]

IntArray = NDArray[np.int64]
_ENUMERATE = 7
_STARTS = 12


def late_order(given: IntArray, *, rng: np.random.Generator | None = None) -> IntArray:
    """One more serving order beside those that are dealt, chosen to even the counts out.

    Of all orders the one is taken that adds least to the sum of squared counts, of a sample at a
    position and of a sample right after another. Every order adds the same number of counts, so
    what differs is how often the table has each of them already: a sum over positions and over
    neighbours, small where this taster does what few did before.

    Parameters
    ----------
    given : (t, s) array of int
        The orders of those who sit there, each a permutation of 0..s-1; t may be 0.
    rng : numpy.random.Generator, optional
        Decides between orders that are equally even.

    Returns
    -------
    (s,) array of int
        The best of all orders up to seven samples; beyond, the best that exchanges find from some
        random starts.

    Raises
    ------
    InputError
        When a row of `given` is no such permutation.

    Examples
    --------
    Three of the four orders of Williams's square for four treatments leave one that completes it:

    >>> from coupage.table import williams
    >>> square = williams(4)
    >>> late_order(square[:3]).tolist() == square[3].tolist()
    True

    References
    ----------
    .. [1] E. J. Williams, Austral. J. Sci. Res. A 2 (1949) 149-168.
    """
    given = np.asarray(given, dtype=np.int64)
    if given.ndim != 2 or given.shape[1] < 1:
        raise InputError("orders: give one row per taster, with every sample in it")
    rng = np.random.default_rng() if rng is None else rng
    n = given.shape[1]
    if not len(given):
        return rng.permutation(n).astype(np.int64)
    balance = order_balance(given)
    # How often it is so already; a trace of chance decides between equals.
    at, after = (
        counts + rng.random((n, n)) / (4 * n) for counts in (balance.at_position, balance.after)
    )
    if n <= _ENUMERATE:
        return _best(np.array(list(permutations(range(n)))), at, after)[0]
    tried = [_descend(rng.permutation(n).astype(np.int64), at, after) for _ in range(_STARTS)]
    return min(tried, key=lambda found: found[1])[0]


def _best(
    orders: IntArray, at: NDArray[np.float64], after: NDArray[np.float64]
) -> tuple[IntArray, float]:
    seen = at[orders, np.arange(orders.shape[1])].sum(axis=1)
    seen = seen + after[orders[:, :-1], orders[:, 1:]].sum(axis=1)
    where = int(np.argmin(seen))
    return orders[where], float(seen[where])


def _descend(
    order: IntArray, at: NDArray[np.float64], after: NDArray[np.float64]
) -> tuple[IntArray, float]:
    """Trade two places, or turn what stands between them round, until nothing helps."""
    n = len(order)
    moves = []
    for i, j in combinations(range(n), 2):
        traded, turned = np.arange(n), np.arange(n)
        traded[[i, j]] = j, i
        turned[i : j + 1] = turned[i : j + 1][::-1]
        moves += [traded, turned]
    places = np.array(moves)
    reached = _best(order[None], at, after)[1]
    while True:
        better, score = _best(order[places], at, after)
        if score >= reached - 1e-12:
            return order, reached
        order, reached = better, score
