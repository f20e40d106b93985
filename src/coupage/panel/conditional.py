"""From weighted draws of the standard deviations to a mixture of Gaussians for the coefficients."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coupage.panel.importance import Draws
from coupage.panel.marginal import Scales, Table, scales

__all__ = ["Conditional", "condense", "given_scales", "resample"]

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

KEPT = 512
SHOWN = 1024
PARTS = 32
_CELLS = 4_000_000


@dataclass(frozen=True, slots=True)
class Conditional:
    """Gaussian beliefs given standard deviations, for k draws.

    ``mean`` (k, t) and ``covariance`` (k, t, t) of the coefficients; ``effect_mean`` and
    ``effect_variance`` (k, c) of the effects of the term asked for.
    """

    mean: Floats
    covariance: Floats
    effect_mean: Floats
    effect_variance: Floats


def given_scales(table: Table, attribute: int, at: Scales, term: str = "taster") -> Conditional:
    """Beliefs on the coefficients (from the prior mean) at the given standard deviations."""
    weight, square = 1 / at.variance, np.square(at.terms)
    prior = table.known + np.tensordot(square, table.covariances, axes=1)
    crossed = weight @ table.crossed[attribute]
    if table.separate_noise:
        error = np.linalg.inv(np.tensordot(weight, table.grams, axes=1))
    else:
        error = np.eye(table.rank) * at.variance[:, :, None]
    inverse = np.linalg.inv(prior + error)
    pull = (inverse @ (error @ crossed[..., None]))[..., 0]
    towards = table.towards_known + np.tensordot(square, table.towards, axes=1)
    before = table.prior_known + np.tensordot(square, table.prior, axes=1)
    k = table.names.index(term)
    effect = table.effects[k]
    own = square[:, k, None]
    return Conditional(
        mean=(towards @ pull[..., None])[..., 0],
        covariance=before - towards @ inverse @ np.swapaxes(towards, 1, 2),
        effect_mean=own * (pull @ effect),
        effect_variance=own
        - np.square(own) * np.einsum("krs,rc,sc->kc", inverse, effect, effect, optimize=True),
    )


def resample(draws: Draws, count: int, rng: np.random.Generator) -> Floats:
    """Equally weighted draws, systematically along the direction in which they vary most."""
    centre = draws.weight @ draws.v
    away = draws.v - centre
    _, vectors = np.linalg.eigh((draws.weight * away.T) @ away)
    order = np.argsort(away @ vectors[:, -1])
    edges = np.cumsum(draws.weight[order])
    points = (np.arange(count) + rng.random()) / count * edges[-1]
    return np.asarray(draws.v[order[np.searchsorted(edges, points)]])


def split(v: Floats, parts: int) -> list[Codes]:
    """Cut the draws into ``parts`` (a power of two) equal groups, always across the widest side."""
    groups = [np.arange(len(v))]
    while len(groups) < parts:
        halves: list[Codes] = []
        for group in groups:
            inside = v[group]
            order = np.argsort(inside[:, inside.var(axis=0).argmax()], kind="stable")
            halves += [group[order[: len(group) // 2]], group[order[len(group) // 2 :]]]
        groups = halves
    return groups


@dataclass(frozen=True, slots=True)
class Condensed:
    """Equally likely parts: moments of coefficients, variance of an unseen pair, taster biases."""

    means: Floats
    covariances: Floats
    pair_variance: Floats
    effect_mean: Floats
    effect_sd: Floats
    scales: Scales


def condense(table: Table, attribute: int, draws: Draws, rng: np.random.Generator) -> Condensed:
    """Keep ``PARTS`` Gaussians whose mixture has the mean and covariance of all draws."""
    v = resample(draws, KEPT, rng)
    groups = split(v, PARTS)
    v = v[np.concatenate(groups)]
    at = scales(table, v)
    size = KEPT // PARTS
    cells = table.rank**2 + table.towards[0].size + len(table.prior_known) ** 2
    # Whole parts at a time, few enough to keep the stacked matrices small.
    step = size * max(1, _CELLS // (cells * size))
    means, covariances, first, second = [], [], [], []
    for start in range(0, KEPT, step):
        given = given_scales(table, attribute, scales(table, v[start : start + step]))
        cut = given.mean.reshape(-1, size, given.mean.shape[1])
        mean = cut.mean(axis=1)
        away = cut - mean[:, None]
        own = given.covariance.reshape(len(mean), size, *given.covariance.shape[1:]).mean(axis=1)
        means.append(mean)
        covariances.append(own + np.swapaxes(away, 1, 2) @ away / size)
        first.append(given.effect_mean)
        second.append(given.effect_variance + np.square(given.effect_mean))
    bias = np.concatenate(first).mean(axis=0)
    spread = np.concatenate(second).mean(axis=0) - np.square(bias)
    pairing = np.square(at.terms[:, table.names.index("pairing")])
    return Condensed(
        means=np.concatenate(means),
        covariances=np.concatenate(covariances),
        pair_variance=pairing.reshape(PARTS, size).mean(axis=1),
        effect_mean=bias,
        effect_sd=np.sqrt(np.maximum(spread, 0)),
        # More draws than moments need: these are read for their tails.
        scales=scales(table, resample(draws, SHOWN, rng)),
    )
