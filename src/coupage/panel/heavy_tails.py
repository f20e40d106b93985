"""Ratings whose noise has heavy tails: a slip then loses weight instead of pulling its sample.

Student's t noise is Gaussian noise with a weight of its own for each rating [1]_. Here the weights
are set at their expectation given the standard deviations at the posterior mode, by turns; the
doubt about the weights themselves is left out.

References
----------
.. [1] K. L. Lange, R. J. A. Little and J. M. G. Taylor (1989), J. Amer. Statist. Assoc. 84,
   881-896, section 3.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from coupage.panel.design import Term
from coupage.panel.importance import find_modes
from coupage.panel.marginal import Table, reduce_table, scales
from coupage.panel.priors import Priors

__all__ = ["weighted_table"]

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

TURNS = 8


def weighted_table(
    terms: Sequence[Term],
    ratings: Floats,
    groups: Codes,
    group_count: int,
    priors: Priors,
    degrees: float,
) -> tuple[Table, Floats]:
    """Sufficient statistics of ``ratings`` (n,) under t noise, and the weights (n,) found."""
    weight = np.ones(len(ratings))
    table = _table(terms, ratings, groups, group_count, priors, weight)
    for _ in range(TURNS):
        at = scales(table, find_modes(table)[0])
        variance = at.variance[0][groups if table.separate_noise else np.zeros_like(groups)]
        free = iter(at.terms[0])
        sds = [float(next(free)) if term.estimated else term.sd for term in terms]
        columns = np.hstack([sd * t.columns.toarray() for sd, t in zip(sds, terms, strict=True)])
        total = columns @ columns.T + np.diag(variance / weight)
        inverse = np.linalg.inv(total)
        noise = variance / weight
        residual = noise * (inverse @ (ratings - priors.mean))
        square = np.square(residual) + noise - np.square(noise) * np.diagonal(inverse)
        weight = (degrees + 1) / (degrees + square / variance)
        table = _table(terms, ratings, groups, group_count, priors, weight)
    return table, weight


def _table(
    terms: Sequence[Term],
    ratings: Floats,
    groups: Codes,
    group_count: int,
    priors: Priors,
    weight: Floats,
) -> Table:
    """A rating of weight w and its columns times sqrt(w) have the noise of weight 1."""
    root = np.sqrt(weight)
    scaled = [
        replace(t, columns=sparse.csr_array(t.columns.multiply(root[:, None]))) for t in terms
    ]
    centred = priors.mean + root * (ratings - priors.mean)
    return reduce_table(scaled, centred[None], groups, group_count, priors)
