"""Which roast numbers go with which taste: partial associations, shrunken, with their doubt.

Batches of one coffee differ a little in time, temperature, colour and loss, and in taste. A slope
says how much the taste moves with one number while the others are held, per usual step of that
number. Few batches say little, so slopes are pulled towards none by a scale that the data choose.
It is association: whatever moved the number may have moved the taste as well.

References
----------
.. [1] Gelman, A. et al., Bayesian Data Analysis, 3rd ed., 2013, chapter 14: regression with a
   normal prior on the slopes; section 5.4: integrating its scale out on a grid.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from coupage.errors import InputError

__all__ = ["Association", "associations"]

Floats = NDArray[np.float64]
_SCALES = 41
_NOISES = 31


@dataclass(frozen=True, slots=True)
class Association:
    """Slope of a taste on one roast number, the others held.

    Attributes
    ----------
    name
        The number.
    step
        What it is measured in: one standard deviation among these batches.
    mean, sd, low50, high50, low90, high90
        Points of taste per step.
    chance_positive
        Chance that the taste rises with the number.
    """

    name: str
    step: float
    mean: float
    sd: float
    low50: float
    high50: float
    low90: float
    high90: float
    chance_positive: float


def associations(
    numbers: ArrayLike,
    taste: ArrayLike,
    *,
    names: Sequence[str],
    error: ArrayLike | None = None,
    slope_scale: float = 0.5,
    noise_scale: float = 0.5,
) -> tuple[Association, ...]:
    """Estimate how a taste goes with roast numbers.

    Parameters
    ----------
    numbers : (n, k) array_like
        Roast numbers of n batches, already free of what sets their coffees apart.
    taste : (n,) array_like
        The taste of each batch, in points, likewise.
    names
        Of the k numbers.
    error : (n,) array_like, optional
        Standard error of each taste, where it is known; more scatter on top is estimated.
    slope_scale, noise_scale
        Half-normal scales of the slopes' standard deviation and of that scatter, in points;
        `numpy.inf` lets the slopes go where least squares puts them.

    Returns
    -------
    tuple of Association
        In the order of ``names``.

    Raises
    ------
    InputError
        When shapes differ, there are fewer than four batches, or a number does not vary.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> x = rng.normal(size=(40, 2))
    >>> y = 0.8 * x[:, 0] + rng.normal(0, 0.2, 40)
    >>> time, colour = associations(x, y, names=["time", "colour"])
    >>> time.low90 > 0.5, abs(colour.mean) < 0.15
    (True, True)
    """
    x, y, se = _checked(numbers, taste, names, error)
    step = x.std(axis=0, ddof=1)
    z = (x - x.mean(axis=0)) / step
    scales, noises, log_prior = _grid(y, slope_scale, noise_scale)
    weights, means, sds = _posterior(z, y, se, scales, noises, log_prior)
    found = []
    for j, name in enumerate(names):
        centre = float(weights @ means[:, j])
        spread = float(np.sqrt(weights @ (sds[:, j] ** 2 + (means[:, j] - centre) ** 2)))
        low50, high50, low90, high90 = (
            _quantile(weights, means[:, j], sds[:, j], p) for p in (0.25, 0.75, 0.05, 0.95)
        )
        positive = float(weights @ ndtr(means[:, j] / sds[:, j]))
        found.append(
            Association(
                name, float(step[j]), centre, spread, low50, high50, low90, high90, positive
            )
        )
    return tuple(found)


def _checked(
    numbers: ArrayLike, taste: ArrayLike, names: Sequence[str], error: ArrayLike | None
) -> tuple[Floats, Floats, Floats]:
    x, y = np.asarray(numbers, dtype=float), np.asarray(taste, dtype=float)
    if x.ndim != 2 or y.shape != x.shape[:1] or len(names) != x.shape[1]:
        raise InputError(
            f"numbers, taste, names: shapes {x.shape} and {y.shape} with {len(names)} names; give "
            "one row a batch and one name a column"
        )
    if len(y) < 4:
        raise InputError(f"taste: {len(y)} batches came; associations need at least 4")
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise InputError("numbers, taste: a figure is missing; leave that batch out")
    flat = [name for name, sd in zip(names, x.std(axis=0), strict=True) if sd <= 1e-12]
    if flat:
        raise InputError(f"numbers: {', '.join(flat)} does not vary; leave it out")
    se = np.zeros(len(y)) if error is None else np.asarray(error, dtype=float)
    if se.shape != y.shape or not (se >= 0).all():
        raise InputError("error: give one standard error of 0 or more for each batch")
    return x, y, se


def _grid(y: Floats, slope_scale: float, noise_scale: float) -> tuple[Floats, Floats, Floats]:
    """Slope scales and scatters (g,) each on logarithmic steps, with their log prior."""
    reach = max(float(y.std()), 1e-6)
    top = 100 * reach if np.isinf(slope_scale) else 4 * slope_scale
    slope = np.geomspace(1e-3 * min(top, reach), top, _SCALES)
    if np.isinf(slope_scale):
        slope = slope[-1:] * 1e3
    noise = np.geomspace(1e-3 * reach, 4 * max(reach, min(noise_scale, 10 * reach)), _NOISES)
    tau, sigma = (g.ravel() for g in np.meshgrid(slope, noise, indexing="ij"))
    prior = np.log(tau) + np.log(sigma) - 0.5 * (tau / slope_scale) ** 2
    prior -= 0.5 * (sigma / noise_scale) ** 2
    return tau, sigma, prior


def _posterior(
    z: Floats, y: Floats, se: Floats, tau: Floats, sigma: Floats, log_prior: Floats
) -> tuple[Floats, Floats, Floats]:
    """Weights (g,) of the grid, means and sds (g, k) of the slopes; the level is left flat."""
    design = np.column_stack([np.ones(len(y)), z])
    w = 1 / (se**2 + sigma[:, None] ** 2)
    precision = np.einsum("gn,ni,nj->gij", w, design, design)
    own = np.arange(1, design.shape[1])
    precision[:, own, own] += 1 / tau[:, None] ** 2
    factor = np.linalg.cholesky(precision)
    inverse = np.linalg.inv(factor)
    solved = np.einsum("gij,gj->gi", inverse, (w * y) @ design)
    means = np.einsum("gji,gj->gi", inverse, solved)
    variances = np.square(inverse).sum(axis=1)
    log_weight = (
        0.5 * np.log(w).sum(axis=1)
        - z.shape[1] * np.log(tau)
        - np.log(np.diagonal(factor, axis1=1, axis2=2)).sum(axis=1)
        - 0.5 * (w @ y**2 - np.square(solved).sum(axis=1))
        + log_prior
    )
    weight = np.exp(log_weight - log_weight.max())
    return weight / weight.sum(), means[:, 1:], np.sqrt(variances[:, 1:])


def _quantile(weights: Floats, means: Floats, sds: Floats, level: float) -> float:
    low, high = float((means - 9 * sds).min()), float((means + 9 * sds).max())
    for _ in range(80):
        middle = (low + high) / 2
        if weights @ ndtr((middle - means) / sds) < level:
            low = middle
        else:
            high = middle
    return (low + high) / 2
