"""What the ratings do to the beliefs, one rating or one sample left out, in closed form.

With Q the inverse of the covariance of all ratings, the error of predicting some of them from
all others is Q_SS^-1 (Q (y - mean))_S and its covariance Q_SS^-1 [1]_: no refit is needed. The
standard deviations are held at the root of their mean square.

References
----------
.. [1] C. E. Rasmussen and C. K. I. Williams (2006), Gaussian Processes for Machine Learning,
   section 5.4.2, equations 5.10-5.12.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from coupage.panel.columns import Ratings, Samples
from coupage.panel.design import Layout, build_terms
from coupage.panel.parts import Doubt
from coupage.panel.priors import Priors
from coupage.panel.system import Equations, System, build_system

__all__ = ["Residuals", "residuals_of"]

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Residuals:
    """Of m looked-at ratings of one attribute (positions ``looked`` among its ``rows``).

    ``pull`` (m,) is Q (y - mean), ``precision`` (m, m) is Q; ``moves`` (m,) how far the level of
    a rating's own sample moves when the rating is left out; ``fitted`` (m,) with the rating in.
    """

    rows: Codes
    looked: Codes
    pull: Floats
    precision: Floats
    moves: Floats
    fitted: Floats
    effects: Floats
    equations: Equations
    design: sparse.csr_array

    def left_out(self, some: Codes) -> tuple[Floats, Floats]:
        """Errors (s,) and covariance (s, s) of predicting ``some`` from all others."""
        covariance: Floats = np.linalg.inv(self.precision[np.ix_(some, some)]).astype(np.float64)
        return covariance @ self.pull[some], covariance


def residuals_of(
    given: Ratings,
    described: Samples,
    layout: Layout,
    priors: Priors,
    doubt: Doubt,
    rows: Codes,
    looked: Codes,
) -> Residuals:
    """Leave-out algebra of one attribute at the standard deviations of ``doubt``."""
    terms = build_terms(given, described, layout, priors, rows)
    system = build_system(terms, given, rows)
    precision = np.zeros(system.size)
    for name, part, sd, free in zip(
        system.names, system.slices, system.sds, system.estimated, strict=True
    ):
        square = doubt.mean_square(name) if free else sd**2
        precision[part] = 1 / max(square, 1e-8)
    own = np.square(doubt.own_noise).mean(axis=0) + priors.floor
    equations = Equations(system, 1 / np.maximum(own, 1e-8), precision)
    weight = equations.weight[system.taster]
    y = given.rating[rows] - priors.mean
    effects = equations.solve(system.from_ratings(weight * y)[:, None])[:, 0]
    design = _design(system, looked)
    solved = np.hstack(
        [
            equations.solve(design[i : i + 64].toarray().T, tolerance=1e-9)
            for i in range(0, len(looked), 64)
        ]
    )
    w = weight[looked]
    q = np.diag(w) - w[:, None] * (design @ solved) * w
    q = (q + q.T) / 2
    fitted = design @ effects
    pull = w * (y[looked] - fitted)
    # Leaving rating i out takes A^-1 z_i times its leave-out pull off the effects.
    level = _levels(system, design)
    moves = -np.einsum("mp,pm->m", level.toarray(), solved) * w * pull / np.diagonal(q)
    return Residuals(rows, looked, pull, q, moves, fitted + priors.mean, effects, equations, design)


def _design(system: System, looked: Codes) -> sparse.csr_array:
    """(m, p) rows of Z."""
    m, width = len(looked), system.counts.shape[1]
    pieces = [system.cells[system.cell[looked]]]
    late = sparse.csr_array((m, width))
    for column in system.columns[looked].T:
        ones = (np.ones(m), (np.arange(m), column))
        late = late + sparse.csr_array(ones, shape=(m, width))
    return sparse.csr_array(sparse.hstack([*pieces, late], format="csr"))


def _levels(system: System, design: sparse.csr_array) -> sparse.csr_array:
    """The part of each row that is the sample itself: no taster, day or pass."""
    keep = np.zeros(system.size)
    for name, part in zip(system.names, system.slices, strict=True):
        keep[part] = name not in ("taster", "disagreement", "cupping", "passes")
    return sparse.csr_array(design.multiply(keep[None, :]))
