"""A small stand-in for ``coupage.panel.Beliefs``: the same members, made up instead of fitted."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Mixture:
    weights: Array
    means: Array
    covariances: Array


@dataclass(frozen=True)
class FakeBeliefs:
    components: tuple[str, ...]
    mixtures: dict[str, Mixture]

    @property
    def attributes(self) -> tuple[str, ...]:
        return tuple(self.mixtures)

    @property
    def pairs(self) -> tuple[tuple[int, int], ...]:
        return tuple(combinations(range(len(self.components)), 2))

    def terms(self, x: Array) -> Array:
        products = [x[:, i] * x[:, j] for i, j in self.pairs]
        return np.column_stack([x, *products])

    def mixture(self, attribute: str) -> Mixture:
        return self.mixtures[attribute]

    def draws(self, x: Array, attribute: str, n: int = 4000, seed: int = 0) -> Array:
        mix = self.mixtures[attribute]
        rng = np.random.default_rng(seed)
        which = rng.choice(len(mix.weights), size=n, p=mix.weights)
        noise = rng.normal(size=(n, mix.means.shape[1]))
        roots = np.linalg.cholesky(mix.covariances + 1e-14 * np.eye(mix.means.shape[1]))
        values = mix.means[which] + np.einsum("npr,nr->np", roots[which], noise)
        return values @ self.terms(np.atleast_2d(x)).T

    def chance_between(self, x: Array, attribute: str, low: float, high: float) -> Array:
        mix = self.mixtures[attribute]
        z = self.terms(np.atleast_2d(x))
        means = z @ mix.means.T
        sds = np.sqrt(np.einsum("np,kpr,nr->nk", z, mix.covariances, z))
        return (ndtr((high - means) / sds) - ndtr((low - means) / sds)) @ mix.weights


def make(
    q: int,
    attributes: int,
    parts: int,
    rng: np.random.Generator,
    *,
    cuppings: int | None = None,
    draws: float = 1.0,
) -> FakeBeliefs:
    """Beliefs as a panel would leave them: a posterior of a Bayesian mixture regression for each
    of ``parts`` settings of the unknown sds, weighted unevenly.

    ``cuppings`` straight coffees and trial blends were tasted (3 per coffee unless given); pairs
    that no trial held keep their prior. ``draws`` scales how far the settings differ.
    """
    names = tuple(f"coffee {i + 1}" for i in range(q))
    pairs = tuple(combinations(range(q), 2))
    p = q + len(pairs)
    mixtures = {}
    n = 3 * q if cuppings is None else cuppings
    for a in range(attributes):
        x = np.vstack([np.eye(q), rng.dirichlet(np.full(q, 0.4), size=n)])
        z = np.column_stack([x, *[x[:, i] * x[:, j] for i, j in pairs]])
        theta = np.concatenate([rng.normal(5.5, 1.5, q), rng.normal(0, 1.5, p - q)])
        y = z @ theta + rng.normal(0, 0.4, len(z))
        means, covariances = [], []
        for _ in range(parts):
            sigma = 0.5 * np.exp(0.2 * draws * rng.normal())
            prior = np.concatenate([np.full(q, 2.0), np.full(p - q, 1.5)])
            prior[q:] *= np.exp(0.5 * draws * rng.normal())
            covariance = np.linalg.inv(z.T @ z / sigma**2 + np.diag(prior**-2))
            prior_mean = np.concatenate([np.full(q, 5.0), np.zeros(p - q)])
            means.append(covariance @ (z.T @ y / sigma**2 + prior_mean / prior**2))
            covariances.append((covariance + covariance.T) / 2)
        weights = rng.dirichlet(np.ones(parts))
        mixtures[f"attribute {a + 1}"] = Mixture(weights, np.array(means), np.array(covariances))
    return FakeBeliefs(names, mixtures)
