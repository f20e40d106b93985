"""The equations of all effects at once, for tables too large to be made dense.

Everything but the taster is alike for all ratings of one *cell* (a sample in one cupping and
pass), so the columns are kept a row per cell, F, and only the effects of tasters (and their own
view of a sample) a row per rating, G. The matrix A = Z'WZ + D is never formed: a product with it
costs one pass over F and one over the table of who rated which cell.

Letters: n ratings, c cells, p effects, T tasters; D holds the prior precisions of the effects.
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse

from coupage.panel.columns import Ratings
from coupage.panel.design import Term

__all__ = ["DENSE", "Equations", "System", "build_system"]

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

BY_RATING = ("taster", "disagreement")
# Up to so many effects the equations are factored whole, beyond they are solved step by step.
DENSE = 700


@dataclass(frozen=True, slots=True)
class System:
    """What attributes rated on the same cups share.

    Attributes
    ----------
    names, slices
        Terms in the order of the effects, those by cell first, and where their effects stand.
    cells
        (c, f) columns of the terms by cell.
    counts
        (c, g) ratings of each cell under each effect by rating.
    crossed
        (g, g) ratings that two effects by rating share.
    owner
        (g,) taster whose weight an effect by rating takes.
    cell, taster
        (n,) of each rating; ``columns`` (n, 1 or 2) effects by rating, counted from 0.
    target
        (t, p) what the effects add to the coefficients.
    """

    names: tuple[str, ...]
    slices: tuple[slice, ...]
    sds: Floats
    estimated: NDArray[np.bool_]
    cells: sparse.csr_array
    counts: sparse.csr_array
    crossed: sparse.csr_array
    owner: Codes
    cell: Codes
    taster: Codes
    columns: Codes
    tasters: int
    target: sparse.csr_array

    @property
    def size(self) -> int:
        return self.cells.shape[1] + self.counts.shape[1]

    def levels(self) -> Floats:
        """(p, terms) one direction a term: the common level of its effects.

        Terms can hand these to each other almost freely. A diagonal preconditioner finds them
        last, and they make most of the noise of a trace estimated with random signs.
        """
        basis = np.zeros((self.size, len(self.slices)))
        for j, part in enumerate(self.slices):
            if part.stop > part.start:
                basis[part, j] = (part.stop - part.start) ** -0.5
        return basis[:, basis.any(axis=0)]

    def at_ratings(self, x: Floats) -> Floats:
        """Z x (n, k) for effects ``x`` (p, k)."""
        f = self.cells.shape[1]
        out = (self.cells @ x[:f])[self.cell]
        for column in self.columns.T:
            out += x[f + column]
        return np.asarray(out)

    def from_ratings(self, v: Floats) -> Floats:
        """Z'v (p,) for a vector over the ratings."""
        c, g = self.counts.shape
        by_cell = np.bincount(self.cell, weights=v, minlength=c)
        by_rating = sum(
            (np.bincount(column, weights=v, minlength=g) for column in self.columns.T), np.zeros(g)
        )
        return np.concatenate([self.cells.T @ by_cell, by_rating])


def build_system(terms: Sequence[Term], given: Ratings, rows: Codes) -> System:
    """Sort the terms and reduce those by cell to one row a cell."""
    key = np.stack([given.sample[rows], given.cupping[rows], given.pass_[rows]])
    _, first, cell = np.unique(key, axis=1, return_index=True, return_inverse=True)
    cell = cell.ravel()
    ordered = [t for t in terms if t.name not in BY_RATING]
    inside = ordered.copy()
    late = [t for t in terms if t.name in BY_RATING]
    ordered += late
    ends = np.cumsum([0, *(t.columns.shape[1] for t in ordered)])
    g = int(sum(t.columns.shape[1] for t in late))
    c, n = len(first), len(rows)
    by_rating = sparse.csr_array((n, 0))
    columns = np.zeros((n, 0), dtype=np.int64)
    starts = np.cumsum([0, *(t.columns.shape[1] for t in late)])[:-1]
    if late:
        by_rating = sparse.csr_array(sparse.hstack([t.columns for t in late], format="csr"))
        at = [t.columns.indices + s for t, s in zip(late, starts, strict=False)]
        columns = np.stack(at, axis=1).astype(np.int64)
    member = sparse.csr_array((np.ones(n), cell, np.arange(n + 1)), shape=(n, c))
    taster = given.taster[rows]
    owner = np.zeros(g, dtype=np.int64)
    for column in columns.T:
        owner[column] = taster
    return System(
        names=tuple(t.name for t in ordered),
        slices=tuple(slice(int(a), int(b)) for a, b in pairwise(ends)),
        sds=np.array([t.sd for t in ordered]),
        estimated=np.array([t.estimated for t in ordered]),
        cells=sparse.csr_array(sparse.hstack([t.columns[first] for t in inside], format="csr")),
        counts=sparse.csr_array(member.T @ by_rating),
        crossed=sparse.csr_array(by_rating.T @ by_rating),
        owner=owner,
        cell=cell,
        taster=taster,
        columns=columns,
        tasters=len(given.tasters),
        target=sparse.csr_array(sparse.hstack([t.target for t in ordered], format="csr")),
    )


class Equations:
    """A = Z'WZ + D for given weights (T,) and prior precisions (p,)."""

    def __init__(self, system: System, weight: Floats, precision: Floats) -> None:
        self.system, self.weight, self.precision = system, weight, precision
        own = weight[system.owner]
        counts, crossed = system.counts, system.crossed
        self.counts = sparse.csr_array(
            (counts.data * own[counts.indices], counts.indices, counts.indptr), shape=counts.shape
        )
        # Two effects by rating meet only within one taster, so either one's weight will do.
        self.crossed = sparse.csr_array(
            (crossed.data * own[crossed.indices], crossed.indices, crossed.indptr),
            shape=crossed.shape,
        )
        self.counts_t = sparse.csr_array(self.counts.T)
        self.cells, self.cells_t = system.cells, sparse.csr_array(system.cells.T)
        self.cell_weight = np.bincount(
            system.cell, weights=weight[system.taster], minlength=counts.shape[0]
        )
        square = system.cells.multiply(system.cells).T @ self.cell_weight
        self.diagonal = np.concatenate([square, self.crossed.diagonal()]) + precision
        self._factor: tuple[Floats, bool] | None = None
        self.basis = system.levels()
        self.inner = np.linalg.pinv(self.basis.T @ self.times(self.basis), hermitian=True)

    def light(self) -> Equations:
        """The same in single precision, for solves of a few digits at half the memory traffic."""
        out = copy(self)
        for name in ("counts", "crossed", "counts_t", "cells", "cells_t"):
            setattr(out, name, getattr(self, name).astype(np.float32))
        for name in ("cell_weight", "precision", "diagonal", "basis", "inner"):
            setattr(out, name, getattr(self, name).astype(np.float32))
        return out

    def times(self, x: Floats) -> Floats:
        """A x for ``x`` (p, k)."""
        f = self.cells.shape[1]
        at = self.cells @ x[:f]
        by_cell = self.cells_t @ (self.cell_weight[:, None] * at + self.counts @ x[f:])
        by_rating = self.counts_t @ at + self.crossed @ x[f:]
        return np.concatenate([by_cell, by_rating]) + self.precision[:, None] * x

    def dense(self) -> Floats:
        """A itself (p, p)."""
        weighted = self.system.cells.multiply(self.cell_weight[:, None])
        corner = self.cells_t @ sparse.csr_array(weighted)
        side = self.cells_t @ self.counts
        a: Floats = np.block(
            [[corner.toarray(), side.toarray()], [side.T.toarray(), self.crossed.toarray()]]
        )
        a[np.diag_indices_from(a)] += self.precision
        return a

    def factor(self) -> tuple[Floats, bool]:
        """Cholesky factor of A, kept; for up to ``DENSE`` effects."""
        if self._factor is None:
            self._factor = linalg.cho_factor(self.dense(), lower=True)
        return self._factor

    def precondition(self, r: Floats) -> Floats:
        coarse = self.basis @ (self.inner @ (self.basis.T @ r))
        return np.asarray(r / self.diagonal[:, None] + coarse)

    def solve(
        self,
        b: Floats,
        *,
        start: Floats | None = None,
        tolerance: float = 1e-8,
        beyond: Floats | None = None,
    ) -> Floats:
        """A^-1 b for ``b`` (p, k): exactly, or by conjugate gradients, all columns in step [1]_.

        ``tolerance`` is relative to b, or to what is left of it at the point ``beyond``; it and
        ``start`` matter only beyond ``DENSE`` effects.

        References
        ----------
        .. [1] Y. Saad (2003), Iterative Methods for Sparse Linear Systems, 2nd ed., section 9.2.1.
        """
        if self.system.size <= DENSE:
            return np.asarray(linalg.cho_solve(self.factor(), b))
        x = np.zeros_like(b) if start is None else start.copy()
        r = b - self.times(x) if start is not None else b.copy()
        left = b if beyond is None else b - self.times(beyond)
        goal = tolerance * np.linalg.norm(left, axis=0) + 1e-30
        z = self.precondition(r)
        direction, rho = z, np.einsum("pk,pk->k", r, z)
        for _ in range(2000):
            if np.all(np.linalg.norm(r, axis=0) <= goal):
                break
            a = self.times(direction)
            with np.errstate(divide="ignore", invalid="ignore"):
                step = np.nan_to_num(rho / np.einsum("pk,pk->k", direction, a))
            x += step * direction
            r -= step * a
            z = self.precondition(r)
            new = np.einsum("pk,pk->k", r, z)
            with np.errstate(divide="ignore", invalid="ignore"):
                direction = z + np.nan_to_num(new / rho) * direction
            rho = new
        return x
