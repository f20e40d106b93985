"""Mixtures of Gaussians: moments, chances and quantiles of one-dimensional questions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

__all__ = ["GaussianMixture", "Line"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class GaussianMixture:
    """A posterior as a weighted sum of Gaussians.

    Attributes
    ----------
    weights
        (k,) sum to 1.
    means
        (k, p).
    covariances
        (k, p, p).
    """

    weights: Floats
    means: Floats
    covariances: Floats

    def moments(self) -> tuple[Floats, Floats]:
        """Mean (p,) and covariance (p, p) of the mixture."""
        mean = self.weights @ self.means
        away = self.means - mean
        covariance = np.tensordot(self.weights, self.covariances, axes=1)
        return mean, covariance + (self.weights * away.T) @ away

    def parts(self, n: int, rng: np.random.Generator) -> NDArray[np.int64]:
        """(n,) parts in their expected numbers, in shuffled order."""
        edges = np.cumsum(self.weights)
        part = np.searchsorted(edges, (np.arange(n) + rng.random()) / n * edges[-1])
        return rng.permutation(np.minimum(part, len(edges) - 1))

    def draws(self, part: NDArray[np.int64], rng: np.random.Generator) -> Floats:
        """(n, p) one draw from each of the ``part`` (n,) asked for."""
        out = np.empty((len(part), self.means.shape[1]))
        for k in np.unique(part):
            # Eigenvectors, not a Cholesky factor: a coefficient that is known exactly is allowed.
            values, vectors = np.linalg.eigh(self.covariances[k])
            factor = vectors * np.sqrt(np.maximum(values, 0))
            here = np.flatnonzero(part == k)
            standard = rng.standard_normal((len(here), len(values)))
            out[here] = self.means[k] + standard @ factor.T
        return out


@dataclass(frozen=True, slots=True)
class Line:
    """Mixtures of one-dimensional Gaussians, one a row: ``means``, ``sds`` (rows, k)."""

    weights: Floats
    means: Floats
    sds: Floats

    def below(self, limit: float) -> Floats:
        """(rows,) chance of a value under ``limit``."""
        if np.isinf(limit):
            return np.full(len(self.means), float(limit > 0))
        # A coefficient without doubt has sd 0: the chance is then 0 or 1.
        with np.errstate(divide="ignore", invalid="ignore"):
            z = (limit - self.means) / self.sds
        return np.asarray(ndtr(np.where(np.isnan(z), 0.0, z)) @ self.weights)

    def moments(self) -> tuple[Floats, Floats]:
        """Mean and standard deviation, (rows,) each."""
        mean = self.means @ self.weights
        square = (np.square(self.sds) + np.square(self.means - mean[:, None])) @ self.weights
        return mean, np.sqrt(square)

    def quantile(self, level: float) -> Floats:
        """(rows,) quantiles, by bisection between the parts' own quantiles."""
        own = self.means + ndtri(level) * self.sds
        low, high = own.min(axis=1), own.max(axis=1)
        for _ in range(60):
            middle = (low + high) / 2
            if np.all(high - low <= 1e-10 * (1 + np.abs(middle))):
                break
            with np.errstate(divide="ignore", invalid="ignore"):
                z = (middle[:, None] - self.means) / self.sds
            small = ndtr(np.where(np.isnan(z), 0.0, z)) @ self.weights < level
            low, high = np.where(small, middle, low), np.where(small, high, middle)
        return np.asarray((low + high) / 2)
