"""How good a set of trials is, and what one exchange would change.

With ``M = K + sum z z'`` over the rows of a design (``K`` what was known before), adding ``c`` and
removing ``x`` changes determinant and trace by closed forms [1]_, so that a whole table of
exchanges costs a few matrix products.

References
----------
.. [1] Fedorov VV (1972), Theory of Optimal Experiments, Academic Press, section 3.2 (rank-two
   exchange).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from coupage.mixture.limits import Floats

__all__ = ["Determinant", "Score", "Variance", "WeightedVariance"]


class Score(Protocol):
    """A criterion to minimise, standing at one design."""

    def start(self, rows: Floats) -> float:
        """Stand at a design (n, r) and return its value; ``inf`` when it tells too little."""
        ...

    def exchanged(self, out: Floats, into: Floats) -> Floats:
        """Values (m, c) after each row of ``out`` (m, r) gives way to each of ``into``.

        ``into`` is (c, r) for all rows alike, or (m, c, r) for each row its own.
        """
        ...


# Rounding leaves a singular matrix pivots of about the root of 1e-15; scaled rows never come near.
_SINGULAR = 1e-6


def _inverse(precision: Floats) -> Floats | None:
    try:
        root = np.linalg.cholesky(precision)
    except np.linalg.LinAlgError:
        return None
    if np.diag(root).min() < _SINGULAR * np.diag(root).max():
        return None
    half = np.linalg.inv(root)
    return np.asarray(half.T @ half)


def _forms(matrix: Floats, out: Floats, into: Floats) -> tuple[Floats, Floats, Floats]:
    """Quadratic forms x'Ax (m, 1), c'Ac (1 or m, c), x'Ac (m, c)."""
    left = out @ matrix
    own = np.einsum("mr,mr->m", left, out)[:, None]
    if into.ndim == 2:
        return own, np.einsum("cr,cr->c", into @ matrix, into)[None], left @ into.T
    theirs = np.einsum("mcr,mcr->mc", into @ matrix, into)
    return own, theirs, np.matmul(into, left[:, :, None])[:, :, 0]


@dataclass(slots=True)
class Determinant:
    """D: minus the mean log eigenvalue of ``M``."""

    prior: Floats
    inverse: Floats | None = None
    value: float = np.inf

    def start(self, rows: Floats) -> float:
        precision = self.prior + rows.T @ rows
        self.inverse = _inverse(precision)
        self.value = np.inf
        if self.inverse is not None:
            self.value = -float(np.linalg.slogdet(precision)[1]) / len(precision)
        return self.value

    def exchanged(self, out: Floats, into: Floats) -> Floats:
        if self.inverse is None:
            return np.full((len(out), into.shape[-2]), np.inf)
        own, theirs, mixed = _forms(self.inverse, out, into)
        ratio = (1 + theirs) * (1 - own) + mixed**2
        with np.errstate(divide="ignore", invalid="ignore"):
            gain = np.log(np.maximum(ratio, 0)) / len(self.prior)
        return np.asarray(self.value - gain)


@dataclass(slots=True)
class Variance:
    """I, and any weighted trace ``trace(weights @ inverse(M))``; no weights: the identity."""

    prior: Floats
    weights: Floats | None = None
    inverse: Floats | None = None
    spread: Floats | None = None
    value: float = np.inf

    def start(self, rows: Floats) -> float:
        self.inverse = _inverse(self.prior + rows.T @ rows)
        self.value = np.inf
        if self.inverse is not None:
            weighed = self.inverse if self.weights is None else self.weights @ self.inverse
            self.value = float(np.trace(weighed))
            self.spread = self.inverse @ weighed
        return self.value

    def exchanged(self, out: Floats, into: Floats) -> Floats:
        if self.inverse is None or self.spread is None:
            return np.full((len(out), into.shape[-2]), np.inf)
        own, theirs, mixed = _forms(self.inverse, out, into)
        own_b, theirs_b, mixed_b = _forms(self.spread, out, into)
        share = mixed / (1 + theirs)
        added = theirs_b / (1 + theirs)
        lost = own_b - 2 * share * mixed_b + share**2 * theirs_b
        left = 1 - own + mixed * share
        with np.errstate(divide="ignore", invalid="ignore"):
            found = self.value - added + lost / left
        return np.where(left > 1e-10, found, np.inf)


@dataclass(slots=True)
class WeightedVariance:
    """A sum of weighted traces, each with what was known before of its own attribute."""

    parts: Sequence[Variance]

    def start(self, rows: Floats) -> float:
        return sum(part.start(rows) for part in self.parts)

    def exchanged(self, out: Floats, into: Floats) -> Floats:
        return np.asarray(sum(part.exchanged(out, into) for part in self.parts))
