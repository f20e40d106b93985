"""The loss to plan with: every batch says something about its lot, every lot about its approach.

Batches scatter around the level of their lot under its approach, those levels around the approach,
approaches around a usual loss. A lot with many batches speaks for itself; one with few leans on its
approach. Given the three standard deviations the model is normal and closed; they are integrated
out on a grid that closes in on where the data put them.

References
----------
.. [1] Gelman, A. et al., Bayesian Data Analysis, 3rd ed., 2013, section 5.4: the normal hierarchy,
   its closed form given the variances and the marginal posterior of the standard deviations.
.. [2] Schenker, S., Diss. ETH No. 13620, 2000 (secondary): losses of 14 to 20 % are usual.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from coupage.errors import InputError

__all__ = ["ExpectedLoss", "LossModel", "LossPriors", "expected_loss"]

Floats = NDArray[np.float64]
_POINTS = 13
_ZOOMS = 4


@dataclass(frozen=True, slots=True)
class LossPriors:
    """What is known before the first batch, as fractions of the green mass.

    The usual level and its doubt, and half-normal scales of the standard deviations between
    approaches, between lots of one approach, and between batches of one lot. Defaults: 14 to 20 %
    are usual [2]_; batches within half a point to a point are common practice; the rest is our
    own judgement. `numpy.inf` makes a prior flat.
    """

    typical: float = 0.17
    typical_sd: float = 0.05
    between_approaches: float = 0.03
    between_lots: float = 0.015
    between_batches: float = 0.01


@dataclass(frozen=True, slots=True)
class ExpectedLoss:
    """Level of the loss of one lot under one approach.

    Attributes
    ----------
    mean, sd, low90, high90, low50, high50
        Belief about the level, the mean of very many batches.
    batch_sd
        Scatter of single batches around it.
    batches
        How many batches of this lot and approach were seen.
    """

    lot: str
    approach: str
    mean: float
    sd: float
    low90: float
    high90: float
    batch_sd: float
    batches: int
    low50: float
    high50: float

    def quantile(self, chance: float, batches: int = 1) -> float:
        """Loss that the mean of so many coming batches stays below with this chance."""
        if not 0 < chance < 1 or batches < 1:
            raise InputError(
                f"chance, batches: {chance}, {batches}; chance lies between 0 and 1, batches from 1"
            )
        spread = np.hypot(self.sd, self.batch_sd / np.sqrt(batches))
        return float(self.mean + NormalDist().inv_cdf(chance) * spread)


@dataclass(frozen=True, slots=True)
class LossModel:
    """Beliefs about the loss of every lot and approach, seen or new.

    Attributes
    ----------
    seen
        One entry per lot and approach with batches.
    approach_sd, lot_sd, batch_sd
        Posterior means of the three standard deviations.
    """

    seen: tuple[ExpectedLoss, ...]
    approach_sd: float
    lot_sd: float
    batch_sd: float
    _approaches: dict[str, ExpectedLoss]
    _anywhere: ExpectedLoss

    def expect(self, lot: str = "", approach: str = "") -> ExpectedLoss:
        """Give the belief for a lot under an approach; a new lot leans on its approach."""
        for one in self.seen:
            if (one.lot, one.approach) == (lot, approach):
                return one
        return self._approaches.get(approach, self._anywhere)


@dataclass(frozen=True, slots=True)
class _Cells:
    """Sufficient figures: one cell per lot and approach, cells sorted by approach."""

    keys: tuple[tuple[str, str], ...]  # (approach, lot)
    count: Floats
    mean: Floats
    within: float
    first: NDArray[np.intp]  # where each approach begins

    @property
    def approach_of(self) -> NDArray[np.intp]:
        sizes = np.diff(np.append(self.first, len(self.keys)))
        return np.repeat(np.arange(self.first.size), sizes)


@dataclass(frozen=True, slots=True)
class _Given:
    """The closed form at grid points g: log marginal (g,), levels of cells, approaches, and all."""

    log_marginal: Floats
    cell: tuple[Floats, Floats]  # mean and variance, (g, cells)
    approach: tuple[Floats, Floats]  # (g, approaches)
    usual: tuple[Floats, Floats]  # (g,)


def expected_loss(
    losses: ArrayLike,
    *,
    lots: Sequence[str],
    approaches: Sequence[str] | None = None,
    priors: LossPriors | None = None,
) -> LossModel:
    """Estimate the loss to plan with, for every lot and approach.

    Parameters
    ----------
    losses
        Loss of each batch as a fraction, shape ``(n,)``; n may be 0. Leave out batches that went
        wrong: the model takes every number at its word.
    lots, approaches
        Names, one per batch; without approaches all batches share one named ``""``.
    priors
        What is known beforehand.

    Returns
    -------
    LossModel
        ``.expect(lot, approach)`` gives mean, 90 % interval and ``.quantile(chance, batches)``.

    Raises
    ------
    InputError
        When lengths differ or a loss is not a fraction.

    Examples
    --------
    A lot with one high batch is pulled towards its fellows.

    >>> model = expected_loss([0.150, 0.152, 0.149, 0.151, 0.175], lots=["a", "a", "b", "b", "c"])
    >>> 0.151 < model.expect("c").mean < 0.175
    True
    """
    y, groups = _checked(losses, lots, approaches)
    prior = LossPriors() if priors is None else priors
    cells = _cells(y, lots, groups)
    grid, weight, given = _zoom(cells, prior, float(y.std()) if y.size > 1 else 0.0)
    approach_sd, lot_sd, batch_sd = (float(sd) for sd in weight @ grid)
    approach_names = [cells.keys[i][0] for i in cells.first]

    def summary(
        lot: str, approach: str, mean: Floats, variance: Floats, batches: int = 0
    ) -> ExpectedLoss:
        centre, sd, ends = _mixture(weight, mean, variance)
        low90, low50, high50, high90 = ends
        return ExpectedLoss(
            lot, approach, centre, sd, low90, high90, batch_sd, batches, low50, high50
        )

    lot_variance = grid[:, 1] ** 2
    seen = tuple(
        summary(lot, approach, given.cell[0][:, j], given.cell[1][:, j], int(cells.count[j]))
        for j, (approach, lot) in enumerate(cells.keys)
    )
    new_lots = {
        name: summary("", name, given.approach[0][:, i], given.approach[1][:, i] + lot_variance)
        for i, name in enumerate(approach_names)
    }
    elsewhere = summary("", "", given.usual[0], given.usual[1] + grid[:, 0] ** 2 + lot_variance)
    return LossModel(seen, approach_sd, lot_sd, batch_sd, new_lots, elsewhere)


def _checked(
    losses: ArrayLike, lots: Sequence[str], approaches: Sequence[str] | None
) -> tuple[Floats, Sequence[str]]:
    y = np.asarray(losses, dtype=float)
    groups = [""] * len(lots) if approaches is None else approaches
    if y.ndim != 1 or not y.size == len(lots) == len(groups):
        raise InputError(
            f"losses, lots, approaches: {y.size}, {len(lots)} and {len(groups)} came; give one of "
            "each per batch"
        )
    bad = np.flatnonzero(~((y >= 0) & (y < 1)))
    if bad.size:
        raise InputError(
            f"losses: batch {bad[0] + 1} has {y[bad[0]]}; give fractions such as 0.16 for 16 %"
        )
    return y, groups


def _cells(y: Floats, lots: Sequence[str], groups: Sequence[str]) -> _Cells:
    pairs = list(zip(groups, lots, strict=True))
    keys = tuple(sorted(set(pairs)))
    number = {key: i for i, key in enumerate(keys)}
    of = np.array([number[p] for p in pairs], dtype=np.intp)
    count = np.bincount(of, minlength=len(keys)).astype(float)
    mean = np.bincount(of, y, minlength=len(keys)) / np.maximum(count, 1)
    starts = [i for i, key in enumerate(keys) if i == 0 or keys[i - 1][0] != key[0]]
    within = float(((y - mean[of]) ** 2).sum())
    return _Cells(keys, count, mean, within, np.array(starts, dtype=np.intp))


def _zoom(cells: _Cells, prior: LossPriors, spread: float) -> tuple[Floats, Floats, _Given]:
    """Grid of the three sds (g, 3), its weights (g,), and the closed form there."""
    scales = np.array([prior.between_approaches, prior.between_lots, prior.between_batches])
    reach = np.where(np.isfinite(scales), np.maximum(scales, spread), 3 * spread)
    low, high = np.log(reach / 100), np.log(reach * 5)
    for _ in range(_ZOOMS):
        axes = [np.linspace(a, b, _POINTS) for a, b in zip(low, high, strict=True)]
        grid = np.exp(np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3))
        given = _closed_form(cells, grid, prior)
        # Half-normal priors; equal steps in the logarithm count for their width in the sd.
        log_weight = given.log_marginal - 0.5 * ((grid / scales) ** 2).sum(1) + np.log(grid).sum(1)
        weight = np.exp(log_weight - log_weight.max())
        weight /= weight.sum()
        cube = weight.reshape((_POINTS,) * 3)
        for k, axis in enumerate(axes):
            mass = cube.sum(axis=tuple(i for i in range(3) if i != k))
            kept = np.flatnonzero(mass > 1e-4 * mass.max())
            step = axis[1] - axis[0]
            low[k], high[k] = axis[kept[0]] - step / 2, axis[kept[-1]] + step / 2
    return grid, weight, given


def _closed_form(cells: _Cells, sds: Floats, prior: LossPriors) -> _Given:
    """Integrate the levels out, from the batches up, and come back down with the beliefs.

    Each floor hands the next one a precision-weighted mean and its variance.
    """
    ta2, tl2, s2 = (sds.T**2)[:, :, None]
    batches = cells.count.sum()
    log_marginal = -0.5 * ((batches - cells.count.size) * np.log(s2) + cells.within / s2)[:, 0]

    noise = s2 / np.maximum(cells.count, 1)
    cell_w = 1 / (tl2 + noise)
    sum_w = np.add.reduceat(cell_w, cells.first, axis=1) if cells.first.size else cell_w
    a = np.add.reduceat(cell_w * cells.mean, cells.first, axis=1) / sum_w if sum_w.size else sum_w
    off = cells.mean - a[:, cells.approach_of]
    log_marginal += 0.5 * (np.log(cell_w).sum(1) - np.log(sum_w).sum(1))
    log_marginal -= 0.5 * (cell_w * off**2).sum(1)

    v = 1 / sum_w
    top_w = 1 / (ta2 + v)
    known = 1 / prior.typical_sd**2
    precision = top_w.sum(1) + known
    m = ((top_w * a).sum(1) + known * prior.typical) / precision
    log_marginal += 0.5 * (np.log(top_w).sum(1) - np.log(precision))
    log_marginal -= 0.5 * (
        (top_w * (a - m[:, None]) ** 2).sum(1) + known * (m - prior.typical) ** 2
    )

    own = ta2 * top_w  # how far an approach speaks for itself
    approach = own * a + (1 - own) * m[:, None]
    approach_var = own * v + (1 - own) ** 2 / precision[:, None]
    own = tl2 * cell_w
    back = cells.approach_of
    cell = own * cells.mean + (1 - own) * approach[:, back]
    cell_var = own * noise + (1 - own) ** 2 * approach_var[:, back]
    return _Given(log_marginal, (cell, cell_var), (approach, approach_var), (m, 1 / precision))


def _mixture(
    weight: Floats, mean: Floats, variance: Floats
) -> tuple[float, float, tuple[float, ...]]:
    """Mean, sd and the ends of the 90 % and 50 % intervals of normals mixed over the grid."""
    kept = weight > 1e-7
    w, m, sd = weight[kept] / weight[kept].sum(), mean[kept], np.sqrt(variance[kept])
    centre = float(w @ m)
    spread = float(np.sqrt(w @ (sd**2 + (m - centre) ** 2)))
    ends = []
    for chance in (0.05, 0.25, 0.75, 0.95):
        low, high = centre - 12 * spread, centre + 12 * spread
        for _ in range(50):
            middle = (low + high) / 2
            below = w @ ndtr((middle - m) / sd) < chance
            low, high = (middle, high) if below else (low, middle)
        ends.append((low + high) / 2)
    return centre, spread, tuple(ends)
