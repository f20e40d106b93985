"""Serving orders: nobody's first cup, and nobody's cup after the strong one, twice too often."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coupage.errors import InputError
from coupage.table.leftover import even_rows

__all__ = ["OrderBalance", "order_balance", "serving_orders", "williams"]

IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class OrderBalance:
    """How evenly orders spread the samples.

    Attributes
    ----------
    at_position : (s, s) array of int
        How often sample i (row) is served at position p (column).
    after : (s, s) array of int
        How often sample j (column) is served right after sample i (row).
    """

    at_position: IntArray
    after: IntArray

    @property
    def complete(self) -> bool:
        """Whether every position and every ordered neighbour pair occurs equally often."""
        pairs = self.after[~np.eye(len(self.after), dtype=bool)]
        return bool(np.ptp(self.at_position) == 0 and (pairs.size == 0 or np.ptp(pairs) == 0))


def williams(n: int) -> IntArray:
    """Williams square for `n` samples: each order a row, samples numbered from 0.

    The first row walks 0, 1, n-1, 2, n-2, ... and each further row adds one modulo `n`; for odd
    `n` the mirrored rows are appended. Each sample then stands equally often at each position,
    and right after each other sample equally often (once for even, twice for odd `n`).

    Parameters
    ----------
    n : int
        Number of samples, at least 1.

    Returns
    -------
    (r, n) array of int
        ``r = n`` orders for even `n`, ``2 n`` for odd `n` above 1.

    Raises
    ------
    InputError
        When `n` is below 1.

    References
    ----------
    .. [1] E. J. Williams, "Experimental designs balanced for the estimation of residual effects
       of treatments", Austral. J. Sci. Res. A 2 (1949) 149-168.

    Examples
    --------
    >>> (williams(4) + 1).tolist()
    [[1, 2, 4, 3], [2, 3, 1, 4], [3, 4, 2, 1], [4, 1, 3, 2]]
    """
    if n < 1:
        raise InputError(f"samples: {n} came; at least 1 sample is needed for an order")
    steps = np.arange(n)
    first = np.where(steps % 2 == 1, (steps + 1) // 2, (n - steps // 2) % n)
    square = (first[None, :] + steps[:, None]) % n
    if n % 2 == 1 and n > 1:
        square = np.vstack([square, square[:, ::-1]])
    return square.astype(np.int64)


def order_balance(orders: IntArray) -> OrderBalance:
    """Count positions and neighbour pairs of serving orders.

    Parameters
    ----------
    orders : (t, s) array of int
        Each row a permutation of 0..s-1.

    Raises
    ------
    InputError
        When a row is no such permutation.

    Examples
    --------
    >>> order_balance(williams(3)).complete
    True
    """
    orders = np.asarray(orders)
    wrong = orders.ndim != 2 or bool((np.sort(orders, axis=1) != np.arange(orders.shape[1])).any())
    if wrong:
        raise InputError("orders: each row must hold every sample number from 0 exactly once")
    n = orders.shape[1]
    at_position = np.zeros((n, n), dtype=np.int64)
    after = np.zeros((n, n), dtype=np.int64)
    np.add.at(at_position, (orders, np.broadcast_to(np.arange(n), orders.shape)), 1)
    np.add.at(after, (orders[:, :-1], orders[:, 1:]), 1)
    return OrderBalance(at_position, after)


def serving_orders(samples: int, tasters: int, rng: np.random.Generator | None = None) -> IntArray:
    """Serving orders balanced for position and first-order carry-over.

    Whole Williams squares as long as the tasters fill them; the tasters left over get the most
    even choice of rows from another one, evened out further where that helps. Samples are
    relabelled at random in each square and the orders dealt to the tasters at random, which leaves
    the balance untouched.

    Parameters
    ----------
    samples, tasters : int
        At least 1 each.
    rng : numpy.random.Generator, optional
        Source of chance; fresh entropy when left out.

    Returns
    -------
    (tasters, samples) array of int
        Row t holds the sample numbers, from 0, in the order in which taster t gets them.

    Raises
    ------
    InputError
        When there is no sample or no taster.

    Notes
    -----
    Balance is complete when the number of tasters is a multiple of `samples` (even) or of twice
    `samples` (odd); `order_balance` counts it. For even `samples` counts never differ by more than
    one. For odd `samples` and fewer tasters that is not always possible; then the sum of squared
    counts, which measures how far from even they are, is made small by exchanges.

    References
    ----------
    .. [1] E. J. Williams, Austral. J. Sci. Res. A 2 (1949) 149-168.
    .. [2] H. J. H. MacFie, N. Bratchell, K. Greenhoff, L. V. Vallis, "Designs to balance the
       effect of order of presentation and first-order carry-over effects in hall tests",
       J. Sensory Studies 4 (1989) 129-148.

    Examples
    --------
    >>> import numpy as np
    >>> order_balance(serving_orders(5, 10, rng=np.random.default_rng(1))).complete
    True
    """
    rng = np.random.default_rng() if rng is None else rng
    if tasters < 1:
        raise InputError(f"tasters: {tasters} came; at least 1 taster is needed")
    square = williams(samples)
    blocks = [square] * (tasters // len(square))
    if tasters % len(square):
        blocks.append(even_rows(square, tasters % len(square), rng))
    orders: IntArray = np.vstack([rng.permutation(samples)[block] for block in blocks])
    return orders[rng.permutation(tasters)]
