"""Posterior predictive checks: would a table drawn from the beliefs look like this one? [1]_

References
----------
.. [1] A. Gelman, J. B. Carlin, H. S. Stern, D. B. Dunson, A. Vehtari and D. B. Rubin (2013),
   Bayesian Data Analysis, 3rd ed., section 6.3.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coupage.panel.columns import Ratings
from coupage.panel.parts import Doubt
from coupage.panel.priors import Priors
from coupage.panel.residuals import Residuals
from coupage.panel.system import DENSE

__all__ = ["PredictiveCheck", "predictive_checks"]

Floats = NDArray[np.float64]

REPLICATES = 400


@dataclass(frozen=True, slots=True)
class PredictiveCheck:
    """One feature of the table, its value, and how often tables drawn from the beliefs reach it.

    ``about`` is ``"largest residual"``, ``"lean of the residuals"``, ``"ratings at an end of the
    scale"`` or ``"uneven tasters"``; a ``chance`` under 0.01 or above 0.99 says that the model
    misses that feature.
    """

    about: str
    value: float
    chance: float

    @property
    def missed(self) -> bool:
        return not 0.01 <= self.chance <= 0.99


def predictive_checks(
    given: Ratings, found: Residuals, doubt: Doubt, priors: Priors
) -> tuple[PredictiveCheck, ...]:
    """Checks on the ratings looked at; none for tables too large for exact draws."""
    equations = found.equations
    m = len(found.looked)
    if equations.system.size > DENSE or m < 3:
        return ()
    rng = np.random.default_rng(11)
    factor = np.linalg.cholesky(equations.dense())
    # Effects drawn from their posterior: mean plus L^-T z has covariance A^-1.
    away = np.linalg.solve(factor.T, rng.standard_normal((len(factor), REPLICATES)))
    expected = priors.mean + found.design @ (found.effects[:, None] + away)
    rows = found.rows[found.looked]
    taster = given.taster[rows]
    pick = rng.integers(0, len(doubt.noise), REPLICATES)
    noise = np.sqrt(np.square(doubt.own_noise[pick][:, taster]) + priors.floor)
    drawn = expected + noise.T * rng.standard_normal((m, REPLICATES))
    if priors.rating_step:
        drawn = np.round(drawn / priors.rating_step) * priors.rating_step
    seen = np.repeat(given.rating[rows][:, None], REPLICATES, axis=1)
    low, high = priors.scale
    features: dict[str, Callable[[Floats], Floats]] = {
        "largest residual": lambda y: _largest(y - expected, noise.T),
        "lean of the residuals": lambda y: _lean(y - expected),
        "ratings at an end of the scale": lambda y: ((y <= low) | (y >= high)).mean(axis=0),
        "uneven tasters": lambda y: _uneven(y - expected, taster),
    }
    out = []
    for about, feature in features.items():
        one, two = feature(seen), feature(drawn)
        chance = float(np.mean(two > one) + np.mean(two == one) / 2)
        out.append(PredictiveCheck(about, float(one.mean()), chance))
    return tuple(out)


def _largest(residual: Floats, noise: Floats) -> Floats:
    return np.asarray(np.abs(residual / noise).max(axis=0))


def _lean(residual: Floats) -> Floats:
    centred = residual - residual.mean(axis=0)
    return np.asarray((centred**3).mean(axis=0) / ((centred**2).mean(axis=0) ** 1.5 + 1e-12))


def _uneven(residual: Floats, taster: NDArray[np.int64]) -> Floats:
    """Largest over smallest root mean square residual among tasters with three ratings or more."""
    names, counts = np.unique(taster, return_counts=True)
    sds = [np.sqrt(np.square(residual[taster == t]).mean(axis=0)) for t in names[counts >= 3]]
    if len(sds) < 2:
        return np.ones(residual.shape[1])
    table = np.array(sds)
    return np.asarray(table.max(axis=0) / np.maximum(table.min(axis=0), 1e-12))
