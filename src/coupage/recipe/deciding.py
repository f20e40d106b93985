"""What the choice of a recipe hinges on, for the planning of trials that help to decide."""

from __future__ import annotations

from collections.abc import Mapping
from math import comb

import numpy as np
import numpy.typing as npt

from coupage.errors import InputError
from coupage.mixture import Doubt, Region, Spreads, doubt_about
from coupage.mixture.terms import Order, term_count
from coupage.panel import Beliefs, Priors, Spread
from coupage.recipe.brief import Brief
from coupage.recipe.desirability import desirability

__all__ = [
    "contenders",
    "decision_doubt",
    "doubt_of_beliefs",
    "sample_noise",
    "table_spreads",
]

Floats = npt.NDArray[np.float64]

_MOST_CONTENDERS = 2_000
_DRAWS = 400


def contenders(region: Region, brief: Brief, step: float) -> Floats:
    """Return recipes that may win: those on the step, or a uniform sample where they are too many.

    Parameters
    ----------
    region
        Recipes that may be served; the brief's largest number of coffees and least share count too.
    step
        Shares are multiples of it.

    Returns
    -------
    (n, q), n at most 2,000

    Raises
    ------
    InputError
        When no recipe on the step obeys the limits.
    """
    steps, rng = round(1 / step), np.random.default_rng(0)
    if comb(steps + region.q - 1, region.q - 1) <= 20 * _MOST_CONTENDERS:
        recipes = region.grid(step)
    else:
        recipes = region.sample(_MOST_CONTENDERS, rng=rng)
    used = recipes > 1e-9
    fine = (used.sum(axis=1) <= brief.max_components) & (
        (recipes >= brief.min_share - 1e-9) | ~used
    ).all(axis=1)
    if fine.any():
        recipes = recipes[fine]
    if len(recipes) > _MOST_CONTENDERS:
        picked = np.random.default_rng(0).choice(len(recipes), _MOST_CONTENDERS, replace=False)
        recipes = recipes[np.sort(picked)]
    if not len(recipes):
        raise InputError("no recipe on this step obeys the limits; take a finer step")
    return recipes


def table_spreads(spread: Spread | None, cups: int, priors: Priors | None = None) -> Spreads:
    """Return the sds of a table's ratings of one attribute, from the panel or from its priors.

    Parameters
    ----------
    spread
        Of the attribute, from `Beliefs.spread`; None where nothing was rated.
    cups
        Of each sample for every taster: a taster's own view of a sample is the same in each.
    """
    priors = Priors() if priors is None else priors
    if spread is None:
        noise, view = priors.noise, priors.disagreement
        taster, cupping, batch = priors.taster, priors.cupping, priors.batch
    else:
        noise, view = spread.cup, spread.disagreement or 0.0
        taster, cupping = spread.taster, spread.cupping
        batch = priors.batch if spread.batch is None else spread.batch
    both = float(np.sqrt(noise**2 + priors.floor + cups * view**2))
    return Spreads(noise=both, taster=taster, cupping=cupping, batch=batch)


def sample_noise(spreads: Spreads, tasters: int, cups: int) -> float:
    """Return the sd of one sample's mean rating about the model, in points."""
    return float(np.sqrt(spreads.batch**2 + spreads.noise**2 / (tasters * cups)))


def decision_doubt(
    brief: Brief,
    region: Region,
    *,
    step: float,
    means: Mapping[str, Floats],
    covariances: Mapping[str, Floats],
    noise_sd: Mapping[str, float],
    order: Order = "quadratic",
    draws: int = _DRAWS,
    seed: int = 0,
) -> Doubt:
    """Return what the choice of a recipe for a brief hinges on; see `coupage.mixture.doubt_about`.

    Parameters
    ----------
    brief, region, step
        What is wanted, from which recipes.
    means, covariances
        Of the coefficients by attribute, (p,) and (p, p), in the order of `model_matrix`.
    noise_sd
        Sd of one sample's mean rating by attribute.
    draws, seed
        Posterior draws of the utility, Derringer and Suich's desirability of the brief.

    Raises
    ------
    InputError
        When no recipe on the step obeys the limits.
    """
    rng, drawn = np.random.default_rng(seed), {}
    p = term_count(region.q, order)
    for attribute, covariance in covariances.items():
        inner = covariance[:p, :p]
        half = np.linalg.cholesky(inner + 1e-10 * np.eye(p))
        drawn[attribute] = means[attribute][:p] + rng.standard_normal((draws, p)) @ half.T
    return doubt_about(
        contenders(region, brief, step),
        drawn,
        lambda rated: desirability(brief, rated),
        noise_sd=noise_sd,
        order=order,
        covariances={name: matrix[:p, :p] for name, matrix in covariances.items()},
    )


def doubt_of_beliefs(
    brief: Brief,
    beliefs: Beliefs,
    region: Region,
    *,
    step: float,
    tasters: int,
    cups: int = 1,
    order: Order = "quadratic",
) -> Doubt:
    """Return `decision_doubt` of what a panel taught, for a table of so many tasters and cups.

    Raises
    ------
    InputError
        When a coffee of the region or an attribute of the brief is unknown to the beliefs.
    """
    known = beliefs.restrict(region.names)
    spread = beliefs.spread()
    moments = {attribute: known.moments(attribute) for attribute in brief.attributes}
    return decision_doubt(
        brief,
        region,
        step=step,
        means={name: mean for name, (mean, _) in moments.items()},
        covariances={name: covariance for name, (_, covariance) in moments.items()},
        noise_sd={
            name: sample_noise(table_spreads(spread[name], cups), tasters, cups)
            for name in brief.attributes
        },
        order=order,
    )
