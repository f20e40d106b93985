"""The likelihood of the standard deviations, everything else integrated out in closed form.

Ratings enter once: the columns of all terms span r directions, far fewer than ratings or
effects, and everything the model asks of the data is their projection on an orthonormal basis of
these directions, one projection per noise group, plus sums of squares. Each evaluation then costs
a few Cholesky factors of order r, done for many attributes and draws in one batch.

Letters: a attributes, k draws, m estimated terms, g noise groups, r directions, t coefficients,
d = m + 1 + (g if the groups' noise differs) coordinates of the standard deviations.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from coupage.panel.design import Term
from coupage.panel.priors import Priors, from_normal, log_slope

__all__ = ["Scales", "Table", "evaluate", "gradient", "reduce_table", "scales"]

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Table:
    """Sufficient statistics of attributes that were rated on the same cups.

    Attributes
    ----------
    counts
        (g,) ratings in each noise group.
    known, covariances
        (r, r) and (m, r, r): prior covariance of the directions from terms of given standard
        deviation, and per unit variance of each estimated term.
    grams
        (g, r, r) Gram matrices of the basis within each group; they sum to the identity.
    crossed
        (a, g, r) basis times ratings; ratings are taken from the prior mean.
    squares
        (a, g) sums of squares.
    term_scale
        (m,) scales of the half-normal priors.
    effects
        m arrays (r, c): the estimated terms' columns in the basis.
    towards, prior_known, towards_known, prior
        Prior covariance of coefficients with directions (m, t, r), (t, r) and among themselves
        (m, t, t), (t, t): estimated terms per unit variance, then the given ones.
    """

    names: tuple[str, ...]
    counts: Floats
    known: Floats
    covariances: Floats
    grams: Floats
    crossed: Floats
    squares: Floats
    term_scale: Floats
    effects: tuple[Floats, ...]
    towards: Floats
    towards_known: Floats
    prior: Floats
    prior_known: Floats
    noise_scale: float
    noise_ratio: float
    floor: float

    @property
    def separate_noise(self) -> bool:
        return len(self.counts) > 1

    @property
    def dimension(self) -> int:
        return len(self.names) + 1 + (len(self.counts) if self.separate_noise else 0)

    @property
    def rank(self) -> int:
        return len(self.known)


@dataclass(frozen=True, slots=True)
class Scales:
    """Standard deviations at given coordinates.

    ``terms`` (..., m), ``noise`` (...), ``ratio`` (..., g): own noise over common noise,
    ``variance`` (..., g): of one rating, rounding included.
    """

    terms: Floats
    noise: Floats
    ratio: Floats
    variance: Floats


def reduce_table(
    terms: Sequence[Term], ratings: Floats, groups: Codes, group_count: int, priors: Priors
) -> Table:
    """Sufficient statistics of ``ratings`` (a, n) with the noise groups of the rows."""
    dense = [term.columns.toarray() for term in terms]
    basis = _basis(np.hstack(dense))
    inside = [basis.T @ z for z in dense]
    targets = [term.target.toarray() for term in terms]
    free = [i for i, term in enumerate(terms) if term.estimated]
    r, t = basis.shape[1], targets[0].shape[0]
    known, towards_known, prior_known = np.zeros((r, r)), np.zeros((t, r)), np.zeros((t, t))
    for i, term in enumerate(terms):
        if not term.estimated:
            known += term.sd**2 * inside[i] @ inside[i].T
            towards_known += term.sd**2 * targets[i] @ inside[i].T
            prior_known += term.sd**2 * targets[i] @ targets[i].T
    centred = ratings - priors.mean
    rows = [np.flatnonzero(groups == g) for g in range(group_count)]
    return Table(
        names=tuple(terms[i].name for i in free),
        counts=np.array([len(at) for at in rows], dtype=np.float64),
        known=known,
        covariances=np.array([inside[i] @ inside[i].T for i in free]),
        grams=np.array([basis[at].T @ basis[at] for at in rows]),
        crossed=np.stack([centred[:, at] @ basis[at] for at in rows], axis=1),
        squares=np.stack([np.square(centred[:, at]).sum(axis=1) for at in rows], axis=1),
        term_scale=np.array([terms[i].sd for i in free]),
        effects=tuple(inside[i] for i in free),
        towards=np.array([targets[i] @ inside[i].T for i in free]),
        towards_known=towards_known,
        prior=np.array([targets[i] @ targets[i].T for i in free]),
        prior_known=prior_known,
        noise_scale=priors.noise,
        noise_ratio=priors.noise_ratio,
        floor=priors.floor,
    )


def _basis(columns: Floats) -> Floats:
    """Orthonormal basis of the span; columns on one footing, so that a huge age is no noise."""
    length = np.sqrt(np.square(columns).sum(axis=0))
    columns = columns[:, length > 0] / length[length > 0]
    if not columns.size:
        return np.zeros((len(columns), 0))
    q, r, _ = linalg.qr(columns, mode="economic", pivoting=True)
    size = np.abs(np.diag(r))
    return np.ascontiguousarray(q[:, : int((size > 1e-9 * size[0]).sum())])


def scales(table: Table, v: Floats) -> Scales:
    """Standard deviations at the coordinates ``v`` (..., d)."""
    m = len(table.names)
    terms = table.term_scale * from_normal(v[..., :m])
    noise = table.noise_scale * from_normal(v[..., m])
    if table.separate_noise:
        ratio = np.exp(table.noise_ratio * v[..., m + 1 :])
    else:
        ratio = np.ones((*v.shape[:-1], 1))
    variance = np.square(noise[..., None] * ratio) + table.floor
    # A floor of zero (no rounding) and a table of equal ratings would end in a division by zero.
    return Scales(terms, noise, ratio, np.maximum(variance, 1e-12))


@dataclass(frozen=True, slots=True)
class _Parts:
    """Pieces of one evaluation: data precision inverse, least-squares point, total covariance."""

    scales: Scales
    weight: Floats
    error: Floats
    point: Floats
    total: Floats


def _parts(table: Table, v: Floats) -> _Parts:
    at = scales(table, v)
    weight = 1 / at.variance
    prior = table.known + np.tensordot(np.square(at.terms), table.covariances, axes=1)
    crossed = weight @ table.crossed
    if table.separate_noise:
        precision = np.tensordot(weight, table.grams, axes=1)
        error = np.asarray(np.linalg.inv(precision), np.float64)
        point = (error @ crossed[..., None])[..., 0]
    else:
        error = np.eye(table.rank) * at.variance[..., None]
        point = crossed * at.variance
    return _Parts(at, weight, error, point, prior + error)


def _log_diagonal(factor: NDArray[np.floating]) -> Floats:
    return np.asarray(np.log(np.diagonal(factor, axis1=-2, axis2=-1)).sum(axis=-1), np.float64)


def evaluate(table: Table, v: Floats) -> Floats:
    """Log posterior density, up to a constant, at coordinates ``v`` (a, k, d) -> (a, k)."""
    at = scales(table, v)
    weight, r = 1 / at.variance, table.rank
    prior = table.known + np.tensordot(np.square(at.terms), table.covariances, axes=1)
    squares = np.einsum("akg,ag->ak", weight, table.squares)
    crossed = weight @ table.crossed
    # With the data's precision P = L L', the prior covariance C and b = L^-1 (crossed), the
    # density needs I + L'CL alone: its eigenvalues are 1 and more, so it cannot be near-singular.
    if table.separate_noise:
        lower, b = _bordered(np.tensordot(weight, table.grams, axes=1), crossed, squares)
        inner = np.swapaxes(lower, -1, -2) @ prior @ lower
    else:
        inner = prior * weight[..., None]
        b = crossed * at.variance**0.5
    inner[..., np.arange(r), np.arange(r)] += 1
    square = np.square(b).sum(axis=-1)
    factor, away = _bordered(inner, b, square)
    log_det = np.log(at.variance) @ table.counts + 2 * _log_diagonal(factor)
    distance = squares - square + np.square(away).sum(axis=-1)
    return np.asarray(-0.5 * (log_det + distance + np.square(v).sum(axis=-1)))


def _bordered(matrix: Floats, b: Floats, bound: Floats) -> tuple[Floats, Floats]:
    """Factor L of the matrices and L^-1 b, from one factor of the matrices bordered by b.

    ``bound`` is at least the squared length of L^-1 b.
    """
    r = b.shape[-1]
    whole = np.empty((*b.shape[:-1], r + 1, r + 1))
    whole[..., :r, :r] = matrix
    whole[..., r, :r] = whole[..., :r, r] = b
    whole[..., r, r] = 1.001 * bound + 1
    factor = np.linalg.cholesky(whole)
    return factor[..., :r, :r], factor[..., r, :r]


def gradient(table: Table, v: Floats) -> Floats:
    """Gradient of :func:`evaluate`, (a, k, d)."""
    parts = _parts(table, v)
    m, at = len(table.names), parts.scales
    inverse = np.linalg.inv(parts.total)
    pull = (inverse @ parts.point[..., None])[..., 0]
    trace = np.tensordot(inverse, table.covariances, axes=((2, 3), (1, 2)))
    moved = np.einsum("akr,mrs->akms", pull, table.covariances, optimize=True)
    by_term = np.square(at.terms) * (np.einsum("akms,aks->akm", moved, pull) - trace)
    centre = parts.point - (parts.error @ pull[..., None])[..., 0]
    spread = parts.error - parts.error @ inverse @ parts.error
    spread = spread + centre[..., :, None] * centre[..., None, :]
    expected = (
        table.squares[:, None, :]
        - 2 * centre @ np.swapaxes(table.crossed, 1, 2)
        + np.tensordot(spread, table.grams, axes=((2, 3), (1, 2)))
    )
    by_group = parts.weight * expected - table.counts
    # Only the part of the variance that is not rounding moves with the coordinates.
    by_group = by_group * (1 - table.floor / at.variance)
    out = np.empty_like(v)
    out[..., :m] = by_term * log_slope(v[..., :m], at.terms / table.term_scale)
    out[..., m] = by_group.sum(axis=-1) * log_slope(v[..., m], at.noise / table.noise_scale)
    if table.separate_noise:
        out[..., m + 1 :] = table.noise_ratio * by_group
    return np.asarray(out - v)
