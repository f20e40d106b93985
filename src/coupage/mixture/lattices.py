"""The two classic designs on the whole simplex."""

from __future__ import annotations

from itertools import combinations
from math import comb

import numpy as np

from coupage.errors import InputError
from coupage.mixture.limits import Floats

__all__ = ["simplex_centroid", "simplex_lattice"]

_MOST_POINTS = 1_000_000


def simplex_lattice(q: int, degree: int) -> Floats:
    """Return the {q, degree} lattice: every mixture whose shares are multiples of 1/degree [1]_.

    Parameters
    ----------
    q : int
        Number of components, at least 1.
    degree : int
        Number of equal steps from 0 to 1, at least 1.

    Returns
    -------
    (C(q + degree - 1, degree), q) array, in lexicographic order.

    Raises
    ------
    InputError
        When an argument is below 1 or the lattice has more than a million points.

    References
    ----------
    .. [1] Scheffe H (1958), Experiments with mixtures, J. R. Statist. Soc. B 20:344-360.
    .. [2] NIST/SEMATECH e-Handbook of Statistical Methods, section 5.5.4.2.

    Examples
    --------
    >>> simplex_lattice(3, 2)[:3]
    array([[0. , 0. , 1. ],
           [0. , 0.5, 0.5],
           [0. , 1. , 0. ]])
    >>> len(simplex_lattice(3, 3))
    10
    """
    _check_count("q", q)
    _check_count("degree", degree)
    count = comb(q + degree - 1, degree)
    _check_size(f"the {{{q}, {degree}}} lattice", count)
    if q == 1:
        return np.ones((1, 1))
    # Stars and bars: q - 1 bars among degree + q - 1 places; the stars between bars are the shares.
    bars = np.array(list(combinations(range(degree + q - 1), q - 1)), dtype=np.int64)
    edges = np.column_stack([np.full(count, -1), bars, np.full(count, degree + q - 1)])
    return np.asarray((np.diff(edges, axis=1) - 1) / degree)


def simplex_centroid(q: int) -> Floats:
    """Return the simplex-centroid design: every equal mixture of 1, 2, ..., q components [1]_.

    Returns
    -------
    (2**q - 1, q) array: straight components first, then pairs, and so on.

    Raises
    ------
    InputError
        When q is below 1 or above 19.

    References
    ----------
    .. [1] Scheffe H (1963), The simplex-centroid design for experiments with mixtures, J. R.
       Statist. Soc. B 25:235-263.

    Examples
    --------
    >>> len(simplex_centroid(4)), simplex_centroid(2).tolist()
    (15, [[1.0, 0.0], [0.0, 1.0], [0.5, 0.5]])
    """
    _check_count("q", q)
    count = 2**q - 1
    _check_size(f"the simplex-centroid design of {q} components", count)
    subsets = [s for size in range(1, q + 1) for s in combinations(range(q), size)]
    points = np.zeros((count, q))
    for k, subset in enumerate(subsets):
        points[k, list(subset)] = 1 / len(subset)
    return points


def _check_count(name: str, value: int) -> None:
    if not isinstance(value, int | np.integer) or value < 1:
        raise InputError(f"{name}: {value!r} must be a whole number of at least 1")


def _check_size(what: str, count: int) -> None:
    if count > _MOST_POINTS:
        raise InputError(f"q: {what} has {count} points, more than {_MOST_POINTS}; take fewer")
