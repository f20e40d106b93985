"""Chances of many recipes at once: upper bounds, a guess, and the exact closed form.

A want on one attribute is an interval; its chance is bounded by :mod:`coupage.recipe.majorants`
from the posterior mean m, the mean variance v within the parts, the variance b v of their means and
the mean square of v. Without the last, which costs most, the bound of the family that holds for any
spread of v is used.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from coupage.recipe.lattice import Lattice, folding
from coupage.recipe.majorants import FAMILY_LIMITS, FARTHEST, NODES_PER_UNIT, majorant_table
from coupage.recipe.posterior import Posterior

__all__ = ["Event", "Outlook"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# Rounding in sums of products of coefficients (up to some hundreds): far above what doubles lose.
_ROUNDING = 1e-12
# The window looks at every so many nodes: it only has to be safe, and a cup pays for each.
_STRIDE = 4


@dataclass(frozen=True, slots=True, eq=False)
class Outlook:
    """What one want looks like for n cups, as polynomials over their compositions.

    Attributes
    ----------
    mean : (n, monomials of degree 2)
    within, between : (n, monomials of degree 4)
        Mean variance within the parts, and variance of their means.
    low, high : (n, 1)
        Where the mean must lie for the chance that was asked for to be possible.
    """

    mean: Floats
    within: Floats
    between: Floats
    low: Floats
    high: Floats

    def take(self, rows: Ints | Bools) -> Outlook:
        return Outlook(
            self.mean[rows], self.within[rows], self.between[rows], self.low[rows], self.high[rows]
        )

    def reachable(self, lattice: Lattice) -> Bools:
        """Cups (n,) whose mean can reach the window: a quadratic on the simplex lies between its
        least and its largest Bernstein coefficient.
        """
        repeats = np.where(lattice.fold.powers2.max(axis=1) == 2, 1.0, 2.0)
        ends = self.mean / repeats
        reach = (ends.max(axis=1) >= self.low[:, 0]) & (ends.min(axis=1) <= self.high[:, 0])
        return np.asarray(reach)

    def holds(self, lattice: Lattice) -> Bools:
        """Recipes (n, m) whose mean lies in the window."""
        mean = self.mean @ lattice.degree2
        holds = np.ones(mean.shape, dtype=bool)
        if np.isfinite(self.low).any():
            holds &= mean >= self.low
        if np.isfinite(self.high).any():
            holds &= mean <= self.high
        return holds


@dataclass(frozen=True, slots=True, eq=False)
class Event:
    """The mean of one attribute lies from ``low`` to ``high``."""

    attribute: str
    low: float
    high: float
    posterior: Posterior

    def outlook(self, cups: Ints, needed: Floats | float) -> Outlook:
        """Polynomials of each cup (n, k), and the window of its mean.

        Outside the window no recipe of the cup has a chance of ``needed`` (a number, or one for
        each cup). The majorants hold for any unit of measure, not only the mean variance v: take
        the largest v of the cup, v0. Then h has a mean of v / v0 - 1 <= 0, and the last family
        (C = 0, c_h >= 0) gives P <= c + A b v / v0 for z = (m - low) / sqrt(v0), whatever v is. A
        polynomial on the simplex is at most its largest Bernstein coefficient, which bounds v and
        b v over all compositions of the cup.
        """
        mean = self.posterior.mean_coefficients(cups)
        within, between = self.posterior.spread_coefficients(cups)
        repeats = folding(cups.shape[1]).repeats4
        unit = np.maximum((within / repeats).max(axis=1), 1e-12)[:, None]
        ratio = np.maximum((between / repeats).max(axis=1), 0)[:, None] / unit
        table = majorant_table()
        bound = table.constant[-1, ::_STRIDE] + table.u_squared[-1, ::_STRIDE] * ratio
        enough = bound >= np.reshape(needed, (-1, 1))
        # Every node below the first that is high enough is too low.
        first = np.where(enough.any(axis=1), enough.argmax(axis=1), enough.shape[1])[:, None]
        z = np.where(first == 0, -np.inf, (first - 1) * _STRIDE / NODES_PER_UNIT - FARTHEST)
        reach = z * np.sqrt(unit)
        low = self.low + reach if np.isfinite(self.low) else np.full(reach.shape, -np.inf)
        high = self.high - reach if np.isfinite(self.high) else np.full(reach.shape, np.inf)
        return Outlook(mean, within, between, low, high)

    def loose(self, outlook: Outlook, lattice: Lattice) -> Floats:
        """Upper bound of the chance (n, m), without the mean square of v."""
        m = outlook.mean @ lattice.degree2
        v = np.maximum(outlook.within @ lattice.degree4, _floor(outlook.within))
        b = np.maximum(outlook.between @ lattice.degree4, 0)
        return self._bound(m, v, b, None, len(FAMILY_LIMITS) + 1)

    def tight(
        self, cups: Ints, outlook: Outlook, lattice: Lattice, rows: Ints, columns: Ints
    ) -> Floats:
        """Upper bound of the chance of composition ``columns[i]`` of cup ``rows[i]``, (s,)."""
        at = _At(lattice, rows, columns, dense=len(rows) * 40 > len(cups) * len(lattice.steps))
        m = at.values(outlook.mean, lattice.degree2)
        v = np.maximum(at.values(outlook.within, lattice.degree4), _floor(outlook.within))
        b = np.maximum(at.values(outlook.between, lattice.degree4), 0)
        square = at.squares(self.posterior.shape_coefficients(cups))
        square += self.posterior.rest * lattice.lengths[columns]
        kappa = np.maximum(square / np.square(v) - 1, 0)
        return self._bound(m, v, b, kappa, np.searchsorted(FAMILY_LIMITS, kappa))

    def guess(self, outlook: Outlook, lattice: Lattice) -> Floats:
        """Chance (n, m) as if the mixture were one Gaussian of its mean and variance."""
        m = outlook.mean @ lattice.degree2
        v = (outlook.within + outlook.between) @ lattice.degree4
        scale = 1 / np.sqrt(np.maximum(v, _floor(outlook.within)))
        chance = np.ones_like(m)
        if np.isfinite(self.low):
            chance = ndtr((m - self.low) * scale)
        if np.isfinite(self.high):
            chance = chance + ndtr((self.high - m) * scale) - 1
        return np.asarray(chance)

    def exact(self, means: Floats, variances: Floats) -> Floats:
        """Chance (s,) from the means and variances (K, s) of the parts."""
        with np.errstate(divide="ignore", invalid="ignore"):
            scale = 1 / np.sqrt(np.maximum(variances, 0))
            chance = np.zeros_like(means)
            if np.isfinite(self.high):
                chance += ndtr(np.nan_to_num((self.high - means) * scale, nan=0.0))
            else:
                chance += 1
            if np.isfinite(self.low):
                chance -= ndtr(np.nan_to_num((self.low - means) * scale, nan=0.0))
        return np.asarray(self.posterior.weights @ np.maximum(chance, 0))

    def _bound(
        self, m: Floats, v: Floats, b: Floats, kappa: Floats | None, family: int | Ints
    ) -> Floats:
        offset = family * majorant_table().nodes
        scale = 1 / np.sqrt(v)
        ratio = b * scale * scale
        bound = np.ones_like(m)
        if np.isfinite(self.low):
            bound = _side((m - self.low) * scale, ratio, kappa, offset)
        if np.isfinite(self.high):
            other = _side((self.high - m) * scale, ratio, kappa, offset)
            bound = np.maximum(bound + other - 1, 0) if np.isfinite(self.low) else other
        return bound


@dataclass(frozen=True, slots=True, eq=False)
class _At:
    """Values of polynomials at some of the compositions of some cups.

    When they are many, all values come as one matrix product; when they are few, one by one.
    """

    lattice: Lattice
    rows: Ints
    columns: Ints
    dense: bool

    def values(self, coefficients: Floats, powers: Floats) -> Floats:
        if self.dense:
            return np.asarray((coefficients @ powers)[self.rows, self.columns])
        return _each(coefficients[self.rows], powers.T[self.columns])

    def squares(self, coefficients: Floats) -> Floats:
        """Sum over r of the squared values of polynomials (n, r, monomials of degree 4)."""
        if self.dense:
            total = np.zeros((len(coefficients), len(self.lattice.steps)))
            for shape in np.ascontiguousarray(np.swapaxes(coefficients, 0, 1)):
                values = shape @ self.lattice.degree4
                total += np.square(values, out=values)
            return np.asarray(total[self.rows, self.columns])
        powers = self.lattice.degree4.T[self.columns]
        values = (coefficients[self.rows] @ powers[:, :, None])[:, :, 0]
        return np.asarray(np.square(values).sum(axis=1))


def _each(a: Floats, b: Floats) -> Floats:
    return np.asarray(np.einsum("sm,sm->s", a, b))


def _floor(coefficients: Floats) -> float:
    """What a sum of these may be by rounding alone: no variance is taken to be less."""
    return float(_ROUNDING * (np.abs(coefficients).max() + 1e-6))


def _side(z: Floats, ratio: Floats, kappa: Floats | None, offset: int | Ints) -> Floats:
    """Upper bound of the chance of one side, at most 1."""
    table = majorant_table()
    z *= NODES_PER_UNIT
    # The node above z: cutting off the fraction of a positive number and adding one.
    z += FARTHEST * NODES_PER_UNIT + 1
    np.clip(z, 0, table.nodes - 1, out=z)
    node = z.astype(np.int32) + offset
    bound = table.u_squared.take(node)
    bound *= ratio
    bound += table.constant.take(node)
    if kappa is not None:
        bound += table.h_squared.take(node) * kappa
    return np.asarray(np.minimum(bound, 1.0, out=bound))
