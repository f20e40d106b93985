"""The terms that a region can tell apart, in coordinates where the region looks round.

Terms that are always zero (a coffee at two approaches, never both in one recipe) or follow from the
others (a share that never varies) are left out. What remains is scaled so that the average of
``z z'`` over the region is the identity: the average variance of prediction is then a plain trace,
and narrow regions lose no digits.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coupage.errors import InputError
from coupage.mixture.limits import Floats
from coupage.mixture.region import Region
from coupage.mixture.terms import Order, model_degree, model_matrix

__all__ = ["Basis", "make_basis"]

_ALIASED = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Basis:
    """Kept columns of the model, how the others follow from them, and the scaling.

    Attributes
    ----------
    order
        Of the full model, p terms.
    kept : (r,) int
        Columns kept.
    follow : (r, p)
        ``f = f[kept] @ follow`` for every recipe of the region.
    moments : (r, r)
        Average of ``f f'`` over the region, kept columns.
    scale : (r, r)
        ``z = f[kept] @ scale``.
    """

    order: Order
    kept: np.ndarray[tuple[int], np.dtype[np.int64]]
    follow: Floats
    moments: Floats
    scale: Floats

    def kept_terms(self, x: Floats) -> Floats:
        return np.asarray(model_matrix(x, self.order)[:, self.kept])

    def rows(self, x: Floats) -> Floats:
        """Scaled terms (n, r) of recipes (n, q)."""
        return np.asarray(self.kept_terms(x) @ self.scale)

    def precision(self, full: Floats) -> Floats:
        """Precision (p, p) of all coefficients, as one of the scaled coefficients (r, r)."""
        if not full.any():
            return np.zeros_like(self.moments)
        # What the kept coefficients mean takes up the others: theta_k + follow @ theta_others.
        nudge = 1e-12 * np.trace(full) / len(full) * np.eye(len(full))
        covariance = self.follow @ np.linalg.solve(full + nudge, self.follow.T)
        back = np.linalg.inv(self.scale)
        found = np.linalg.inv(back @ covariance @ back.T)
        return np.asarray((found + found.T) / 2)

    def weights(self, full: Floats) -> Floats:
        """Weights (p, p) of products of terms, as weights of scaled terms (r, r)."""
        some = full[np.ix_(self.kept, self.kept)]
        return np.asarray(self.scale.T @ some @ self.scale)


def make_basis(region: Region, order: Order) -> Basis:
    """Average the products of the terms over the region and pick terms that differ."""
    x, share = region.average_points(2 * model_degree(order))
    terms = model_matrix(x, order)
    moments = (terms * share[:, None]).T @ terms
    moments = (moments + moments.T) / 2
    kept = _independent(moments)
    block = moments[np.ix_(kept, kept)]
    follow = np.asarray(np.linalg.solve(block, moments[kept]), dtype=float)
    try:
        root = np.linalg.cholesky(block)
    except np.linalg.LinAlgError:
        raise InputError(
            f"region: too narrow for the {order} model, its terms cannot be told apart; "
            "widen the limits or take a lower order"
        ) from None
    return Basis(order, kept, follow, block, np.linalg.inv(root).T)


def _independent(moments: Floats) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Columns that add something, first come first kept (Gram-Schmidt on the moments)."""
    left = moments.copy()
    size = np.maximum(np.diag(moments), 1e-300)
    kept = []
    for i in range(len(moments)):
        if left[i, i] > _ALIASED * size[i] and moments[i, i] > 1e-14:
            kept.append(i)
            left -= np.outer(left[:, i], left[i]) / left[i, i]
    return np.array(kept, dtype=np.int64)
