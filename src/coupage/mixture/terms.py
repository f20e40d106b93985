"""Scheffe's canonical polynomials: the columns of a mixture model."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt

from coupage.errors import InputError
from coupage.mixture.limits import Floats

__all__ = ["Order", "model_degree", "model_matrix", "term_count", "term_names"]

Order = Literal["linear", "quadratic", "special cubic", "full cubic"]
_DEGREE: dict[str, int] = {"linear": 1, "quadratic": 2, "special cubic": 3, "full cubic": 3}


def model_matrix(x: npt.ArrayLike, order: Order = "quadratic") -> Floats:
    """Expand mixtures into the terms of a Scheffe polynomial [1]_.

    Parameters
    ----------
    x : (n, q)
        Shares; not checked to sum to 1, so that differences and directions can be expanded too.
    order
        ``"linear"``: x_i. ``"quadratic"``: and x_i x_j, i < j. ``"special cubic"``: and
        x_i x_j x_k. ``"full cubic"``: x_i, x_i x_j, x_i x_j (x_i - x_j), x_i x_j x_k.

    Returns
    -------
    (n, p) array; pairs and triples in lexicographic order.

    Raises
    ------
    InputError
        When ``order`` is none of these or ``x`` is not two-dimensional.

    References
    ----------
    .. [1] Scheffe H (1958), Experiments with mixtures, J. R. Statist. Soc. B 20:344-360, section 3.

    Examples
    --------
    >>> model_matrix([[0.5, 0.3, 0.2]], "special cubic")
    array([[0.5 , 0.3 , 0.2 , 0.15, 0.1 , 0.06, 0.03]])
    """
    _check_order(order)
    points = np.asarray(x, dtype=float)
    if points.ndim != 2:
        raise InputError(f"x: shape {points.shape} must be rows of shares, (n, q)")
    q = points.shape[1]
    blocks = [points]
    if order != "linear":
        i, j = np.triu_indices(q, 1)
        pairs = points[:, i] * points[:, j]
        blocks.append(pairs)
        if order == "full cubic":
            blocks.append(pairs * (points[:, i] - points[:, j]))
    if order in ("special cubic", "full cubic"):
        triples = np.array(list(combinations(range(q), 3)), dtype=np.int64).reshape(-1, 3)
        blocks.append(points[:, triples].prod(axis=2))
    return np.concatenate(blocks, axis=1)


def model_degree(order: Order) -> int:
    """Return the degree of the polynomial."""
    _check_order(order)
    return _DEGREE[order]


def term_count(q: int, order: Order) -> int:
    """Count the terms.

    Examples
    --------
    >>> [term_count(5, order) for order in ("linear", "quadratic", "special cubic", "full cubic")]
    [5, 15, 25, 35]
    """
    _check_order(order)
    pairs, triples = q * (q - 1) // 2, q * (q - 1) * (q - 2) // 6
    return {
        "linear": q,
        "quadratic": q + pairs,
        "special cubic": q + pairs + triples,
        "full cubic": q + 2 * pairs + triples,
    }[order]


def term_names(names: Sequence[str], order: Order) -> list[str]:
    """Name the columns of `model_matrix`.

    Examples
    --------
    >>> term_names(["a", "b"], "full cubic")
    ['a', 'b', 'a x b', 'a x b x (a - b)']
    """
    _check_order(order)
    pairs = [f"{a} x {b}" for a, b in combinations(names, 2)]
    found = list(names)
    if order != "linear":
        found += pairs
    if order == "full cubic":
        found += [f"{a} x {b} x ({a} - {b})" for a, b in combinations(names, 2)]
    if order in ("special cubic", "full cubic"):
        found += [" x ".join(triple) for triple in combinations(names, 3)]
    return found


def _check_order(order: str) -> None:
    if order not in get_args(Order):
        raise InputError(f"order: {order!r} must be one of {', '.join(get_args(Order))}")
