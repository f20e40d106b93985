"""Integrate the standard deviations out: mode, then importance sampling around it.

The proposal is a multivariate t around the posterior mode; its draws are a Latin hypercube, so
that each coordinate is covered evenly [1]_. When the effective sample size is poor the proposal is
rebuilt from the weighted draws, and all rounds are kept with the weights of their mixture [2]_.

References
----------
.. [1] M. D. McKay, R. J. Beckman and W. J. Conover (1979), Technometrics 21, 239-245, section 2.
.. [2] E. Veach and L. J. Guibas (1995), SIGGRAPH '95, 419-428, section 3 (balance heuristic).
.. [3] T. Kloek and H. K. van Dijk (1978), Econometrica 46, 1-19 (importance sampling of a
   posterior); A. Kong (1992), Univ. of Chicago technical report 348 (effective sample size).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincinv, gammaln, ndtri

from coupage.panel.marginal import Table, evaluate, gradient

__all__ = ["Draws", "find_modes", "integrate"]

Floats = NDArray[np.float64]

DEGREES = 12.0
FIRST = 256
ENOUGH = 500.0
ROUNDS = 5
_CELLS = 2_000_000


@dataclass(frozen=True, slots=True)
class Draws:
    """Weighted draws of the coordinates for one attribute: ``v`` (n, d), ``weight`` (n,)."""

    v: Floats
    weight: Floats
    effective: float
    rounds: int


@dataclass(frozen=True, slots=True)
class _Proposal:
    """Multivariate t: ``centre`` (a, d) and ``factor`` (a, d, d), scale = factor factor'."""

    centre: Floats
    factor: Floats

    def draw(self, standard: Floats) -> Floats:
        return self.centre[:, None, :] + standard @ np.swapaxes(self.factor, 1, 2)

    def log_density(self, v: Floats) -> Floats:
        d = v.shape[-1]
        away = np.linalg.solve(self.factor, np.swapaxes(v - self.centre[:, None, :], 1, 2))
        distance = np.square(away).sum(axis=1)
        log_det = np.log(np.diagonal(self.factor, axis1=1, axis2=2)).sum(axis=1)
        constant = (
            gammaln((DEGREES + d) / 2) - gammaln(DEGREES / 2) - d / 2 * np.log(DEGREES * np.pi)
        )
        tail = (DEGREES + d) / 2 * np.log1p(distance / DEGREES)
        return np.asarray(constant - log_det[:, None] - tail)


def find_modes(table: Table) -> tuple[Floats, Floats]:
    """Posterior mode (a, d) and negative Hessian (a, d, d) there, by damped Newton steps."""
    a, d = len(table.crossed), table.dimension
    at = np.zeros((a, d))
    value = evaluate(table, at[:, None, :])[:, 0]
    lengths = np.array([1.0, 0.5, 0.2, 0.05, 0.0])
    for _ in range(40):
        slope = gradient(table, at[:, None, :])[:, 0]
        bend = _definite(_bend(table, at))
        step = np.linalg.solve(bend, slope[..., None])[..., 0]
        # Far from the mode a Newton step may jump out of the bowl.
        step *= np.minimum(1, 2 / np.maximum(np.abs(step).max(axis=1, keepdims=True), 1e-12))
        tried = at[:, None, :] + lengths[:, None] * step[:, None, :]
        values = _chunked(table, tried)
        best = values.argmax(axis=1)
        at = tried[np.arange(a), best]
        gain = values[np.arange(a), best] - value
        value = values[np.arange(a), best]
        if gain.max() < 1e-4:
            break
    return at, _definite(_bend(table, at))


def _bend(table: Table, at: Floats, width: float = 1e-3) -> Floats:
    """Negative Hessian by central differences of the gradient."""
    d = at.shape[1]
    shift = width * np.concatenate([np.eye(d), -np.eye(d)])
    slope = gradient(table, at[:, None, :] + shift)
    bend = -(slope[:, :d] - slope[:, d:]) / (2 * width)
    return np.asarray((bend + np.swapaxes(bend, 1, 2)) / 2)


def _definite(bend: Floats) -> Floats:
    """Nearest bowl: the prior alone bends by one, so anything below half of that is local."""
    values, vectors = np.linalg.eigh(bend)
    return np.asarray((vectors * np.maximum(values, 0.5)[:, None, :]) @ np.swapaxes(vectors, 1, 2))


def _chunked(table: Table, v: Floats) -> Floats:
    """Evaluate in slices whose matrices stay small beside the cache and the memory."""
    size = max(1, _CELLS // (len(v) * (table.rank + 1) ** 2))
    slices = [evaluate(table, v[:, i : i + size]) for i in range(0, v.shape[1], size)]
    return np.concatenate(slices, axis=1)


def latin_t(n: int, d: int, rng: np.random.Generator) -> Floats:
    """Latin hypercube draws (n, d) of the standard multivariate t."""
    strata = rng.permuted(np.tile(np.arange(n), (d + 1, 1)), axis=1).T
    u = (strata + rng.random((n, d + 1))) / n
    radius = np.sqrt(DEGREES / (2 * gammaincinv(DEGREES / 2, u[:, d:])))
    return np.asarray(ndtri(u[:, :d]) * radius)


def integrate(table: Table, rng: np.random.Generator) -> list[Draws]:
    """Weighted draws for each attribute of the table.

    All attributes use the same standard draws, so that an attribute's answer does not depend on
    which others are asked for.
    """
    mode, bend = find_modes(table)
    a, d = mode.shape
    factor = np.linalg.cholesky(np.linalg.inv(bend))
    searches = [_Search(_Proposal(mode[i : i + 1], factor[i : i + 1])) for i in range(a)]
    for round_ in range(ROUNDS):
        standard = latin_t(FIRST << round_, d, rng)
        active = [i for i in range(a) if searches[i].draws.effective < ENOUGH]
        if not active:
            break
        fresh = np.concatenate([searches[i].propose(standard) for i in active])
        one = replace(table, crossed=table.crossed[active], squares=table.squares[active])
        values = _chunked(one, fresh)
        for i, v, value in zip(active, fresh, values, strict=True):
            searches[i].take(v, value)
    return [search.draws for search in searches]


class _Search:
    """Rounds of proposals for one attribute, each built from the draws so far."""

    def __init__(self, start: _Proposal) -> None:
        self.start = start
        self.proposals: list[_Proposal] = []
        self.sizes: list[int] = []
        d = start.centre.shape[1]
        self.target = np.empty(0)
        self.draws = Draws(np.empty((0, d)), np.empty(0), 0.0, 0)

    def propose(self, standard: Floats) -> Floats:
        self.proposals.append(_adapted(self.start, self.draws) if self.proposals else self.start)
        self.sizes.append(len(standard))
        return self.proposals[-1].draw(standard)

    def take(self, fresh: Floats, value: Floats) -> None:
        v = np.concatenate([self.draws.v, fresh])
        self.target = np.concatenate([self.target, value])
        share = np.log(np.array(self.sizes) / sum(self.sizes))
        parts = np.array([p.log_density(v[None])[0] for p in self.proposals])
        log_ratio = self.target - np.logaddexp.reduce(parts + share[:, None], axis=0)
        weight = np.exp(log_ratio - log_ratio.max())
        weight /= weight.sum()
        self.draws = Draws(v, weight, float(1 / np.square(weight).sum()), len(self.sizes))


def _adapted(start: _Proposal, draws: Draws) -> _Proposal:
    """Moments of the draws, leaning on the first proposal as far as the draws are few.

    When a few draws have all the weight, powers of the weights below one let enough others speak
    for the next proposal to move the right way.
    """
    d = draws.v.shape[1]
    for power in (1.0, 0.7, 0.5, 0.35, 0.25, 0.15, 0.1):
        weight = draws.weight**power
        weight = weight / weight.sum()
        effective = float(1 / np.square(weight).sum())
        if effective > 5 * d:
            break
    trust = effective / (effective + d)
    centre = trust * (weight @ draws.v) + (1 - trust) * start.centre[0]
    away = draws.v - centre
    spread = trust * (weight * away.T) @ away
    # The share of the first proposal also keeps the factor definite when one draw has all weight.
    spread += (1 - trust) * start.factor[0] @ start.factor[0].T
    return _Proposal(centre[None], np.linalg.cholesky(spread)[None])
