"""Chances of many recipes at once: upper bounds, a guess, and the exact closed form.

A want on one attribute is an interval; its chance is bounded by :mod:`coupage.recipe.majorants`
from the posterior mean m, the mean variance v within the parts, the variance b v of their means and
the mean square of v. Without the last (which is of degree 8) the bound of the family that holds
for any spread of v is used.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from coupage.recipe.lattice import Lattice, folding
from coupage.recipe.majorants import FAMILY_LIMITS, FARTHEST, NODES_PER_UNIT, majorant_table
from coupage.recipe.posterior import Posterior

__all__ = ["Event"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Rounding in sums of products of coefficients (up to some hundreds): far above what doubles lose.
_ROUNDING = 1e-12
# The window looks at every so many nodes: it only has to be safe, and a cup pays for each.
_WINDOW_STRIDE = 4


@dataclass(frozen=True, slots=True, eq=False)
class Event:
    """The mean of one attribute lies from ``low`` to ``high``."""

    attribute: str
    low: float
    high: float
    posterior: Posterior

    def loose(self, cups: Ints, lattice: Lattice) -> Floats:
        """Upper bound of the chance (n, m) for each cup and composition, without degree 8."""
        m, v, b = self._moments(cups, lattice)
        family = len(FAMILY_LIMITS) + 1
        return self._bound(m, v, b, None, family * majorant_table().nodes)

    def window(self, cups: Ints, needed: Floats | float) -> tuple[Floats, Floats]:
        """Lowest and highest mean, each (n, 1), with which a cup's recipe can have a chance of
        ``needed`` (a number, or one for each cup).

        The majorants hold for any unit of measure, not only the mean variance v: take the largest
        v of the cup, v0. Then h has a mean of v / v0 - 1 <= 0, and the last family (C = 0,
        c_h >= 0) gives P <= c + A b v / v0 for z = (m - low) / sqrt(v0), whatever v is. A
        polynomial on the simplex is at most its largest Bernstein coefficient, which bounds v and
        b v over all compositions of the cup.
        """
        within, between = self.posterior.spread_coefficients(cups)
        repeats = folding(cups.shape[1]).repeats4
        unit = np.maximum((within / repeats).max(axis=1), 1e-12)[:, None]
        ratio = np.maximum((between / repeats).max(axis=1), 0)[:, None] / unit
        table = majorant_table()
        bound = table.constant[-1, ::_WINDOW_STRIDE] + table.u_squared[-1, ::_WINDOW_STRIDE] * ratio
        enough = bound >= np.reshape(needed, (-1, 1))
        # Every node below the first that is high enough is too low.
        first = np.where(enough.any(axis=1), enough.argmax(axis=1), enough.shape[1])
        z = (first[:, None] - 1) * _WINDOW_STRIDE / NODES_PER_UNIT - FARTHEST
        z = np.where(first[:, None] == 0, -np.inf, z)
        reach = z * np.sqrt(unit)
        low = self.low + reach if np.isfinite(self.low) else np.full(reach.shape, -np.inf)
        high = self.high - reach if np.isfinite(self.high) else np.full(reach.shape, np.inf)
        return low, high

    def tight(self, cups: Ints, lattice: Lattice, rows: Ints, columns: Ints) -> Floats:
        """Upper bound of the chance of composition ``columns[i]`` of cup ``rows[i]``, (s,)."""
        m, v, b = self._moments(cups, lattice)
        m, v, b = m[rows, columns], v[rows, columns], b[rows, columns]
        _, quartic = self.posterior.part_coefficients(cups)
        weighted = np.swapaxes(quartic, 0, 1) * np.sqrt(self.posterior.weights)[:, None]
        products = np.swapaxes(weighted, 1, 2) @ weighted
        octic = lattice.fold.square(products)
        if len(rows) * 40 > len(cups) * lattice.total:
            square = (octic @ lattice.degree8())[rows, columns]
        else:
            powers = np.ascontiguousarray(lattice.degree8(columns).T)
            square = np.einsum("sm,sm->s", octic[rows], powers)
        scale = np.abs(octic).max()
        kappa = np.maximum((square + _ROUNDING * scale) / np.square(v) - 1, 0)
        family = np.searchsorted(FAMILY_LIMITS, kappa)
        return self._bound(m, v, b, kappa, family * majorant_table().nodes)

    def guess(self, cups: Ints, lattice: Lattice, columns: Ints | slice = slice(None)) -> Floats:
        """Chance (n, m) as if the mixture were one Gaussian of its mean and variance."""
        m, v, b = self._moments(cups, lattice, columns)
        scale = 1 / np.sqrt(v + b)
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

    def _moments(
        self, cups: Ints, lattice: Lattice, columns: Ints | slice = slice(None)
    ) -> tuple[Floats, Floats, Floats]:
        within, between = self.posterior.spread_coefficients(cups)
        floor = _ROUNDING * (np.abs(within).max() + 1e-6)
        quartic = lattice.degree4[:, columns]
        m = self.posterior.mean_coefficients(cups) @ lattice.degree2[:, columns]
        v = np.maximum(within @ quartic, floor)
        b = np.maximum(between @ quartic, 0)
        return m, v, b

    def _bound(
        self, m: Floats, v: Floats, b: Floats, kappa: Floats | None, offset: int | Ints
    ) -> Floats:
        scale = 1 / np.sqrt(v)
        ratio = b * scale * scale
        bound = np.ones_like(m)
        if np.isfinite(self.low):
            bound = _side((m - self.low) * scale, ratio, kappa, offset)
        if np.isfinite(self.high):
            other = _side((self.high - m) * scale, ratio, kappa, offset)
            bound = np.maximum(bound + other - 1, 0) if np.isfinite(self.low) else other
        return bound


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
