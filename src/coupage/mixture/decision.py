"""What the choice of a recipe hinges on: the doubt that trials should reduce.

The roaster will choose one recipe. Draw the coefficients from current beliefs: each draw has its
own best recipe, and how often a recipe is best is the chance that it should be chosen. What
matters is then not the intensity of every possible blend but how these contenders differ in what
they are worth. To first order the worth of a recipe moves with an attribute's intensity at the
rate of the utility's slope there, so the doubt left after some trials is, summed over attributes,
the posterior variance of ``slope(x) f(x)'theta - (the average of this over contenders)``: a
weighted trace, which the exchange minimises. (The idea of spending trials on what the choice
hinges on is that of knowledge gradients [1]_, the linear criterion that of L-optimality [2]_.)

References
----------
.. [1] Frazier P, Powell W, Dayanik S (2009), The knowledge-gradient policy for correlated normal
   beliefs, INFORMS Journal on Computing 21:599-613.
.. [2] Fedorov VV (1972), Theory of Optimal Experiments, Academic Press, section 2.9 (linear
   criteria).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from coupage.errors import InputError
from coupage.mixture.limits import Floats
from coupage.mixture.terms import Order, model_matrix

__all__ = ["Aspect", "Doubt", "doubt_about"]

Utility = Callable[[Mapping[str, Floats]], npt.ArrayLike]


@dataclass(frozen=True, slots=True, eq=False)
class Aspect:
    """What trials can teach about one attribute, and what that is worth.

    Attributes
    ----------
    name
        The attribute.
    precision : (p, p)
        Inverse covariance of the coefficients as believed now, times the variance of one sample's
        mean rating: what is known already, counted in samples.
    weights : (p, p)
        What a doubt about the coefficients costs: the criterion is
        ``trace(weights @ inverse(precision + X'X))`` times that variance.
    noise_sd
        Sd of one sample's mean rating about the model, in points.
    """

    name: str
    precision: Floats
    weights: Floats
    noise_sd: float


@dataclass(frozen=True, slots=True, eq=False)
class Doubt:
    """The doubt about which recipe is best.

    Attributes
    ----------
    aspects
        One for each attribute that the utility reads.
    recipes : (g, q)
        The contenders.
    chances : (g,)
        The chance that each is the best; sums to 1.
    """

    aspects: tuple[Aspect, ...]
    recipes: Floats
    chances: Floats

    def left(self, x: npt.ArrayLike, order: Order = "quadratic") -> float:
        """Doubt left about the contenders' worth after trials ``x (n, q)``: a sd in utility."""
        rows = model_matrix(np.asarray(x, dtype=float), order)
        total = 0.0
        for aspect in self.aspects:
            covariance = np.linalg.inv(aspect.precision + rows.T @ rows)
            total += aspect.noise_sd**2 * float(np.sum(aspect.weights * covariance))
        return float(np.sqrt(max(0.0, total)))


def doubt_about(
    recipes: npt.ArrayLike,
    draws: Mapping[str, npt.ArrayLike],
    utility: Utility,
    *,
    noise_sd: Mapping[str, float] | float,
    order: Order = "quadratic",
    covariances: Mapping[str, npt.ArrayLike] | None = None,
    width: float = 0.5,
) -> Doubt:
    """Tell from beliefs what the choice among recipes hinges on.

    Parameters
    ----------
    recipes : (g, q)
        Recipes to choose among: a grid on the roaster's step, say.
    draws : mapping from attribute to (s, p)
        Draws of the coefficients from current beliefs, terms as in `model_matrix`.
    utility
        Called with a mapping from attribute to intensities (s, g); returns what each recipe would
        then be worth, (s, g): a desirability, or 1 where it meets the brief and 0 elsewhere.
    noise_sd
        Sd of one trial sample's mean rating about the model, in points (batches, tasters and cups
        averaged as planned); one for all attributes, or by attribute.
    covariances : mapping from attribute to (p, p), optional
        Of the coefficients; from the draws when left out, which needs many more draws than terms.
    width
        Points over which the utility's slope is taken, so that a sharp brief has one too.

    Raises
    ------
    InputError
        When shapes do not fit or the utility returns something else than (s, g) numbers.

    Examples
    --------
    Two coffees, linear; the draws disagree on which is sweeter, so the choice hinges on their
    difference:

    >>> doubt = doubt_about([[1, 0], [0, 1]], {"sweet": [[5, 4.0], [4, 5.5], [6, 4], [5, 6]]},
    ...                     lambda rated: rated["sweet"] / 10, noise_sd=0.5, order="linear")
    >>> doubt.chances.tolist()
    [0.5, 0.5]
    """
    points = np.asarray(recipes, dtype=float)
    rows = model_matrix(points, order)
    known = {name: np.asarray(d, dtype=float) for name, d in draws.items()}
    _check_draws(known, rows.shape[1])
    rated = {name: d @ rows.T for name, d in known.items()}
    worth = _worth(utility, rated)
    best = worth >= worth.max(axis=1, keepdims=True) - 1e-12
    chances = (best / best.sum(axis=1, keepdims=True)).mean(axis=0)
    kept = np.flatnonzero(chances > 0)
    aspects = []
    for name, d in known.items():
        sd = float(noise_sd[name] if isinstance(noise_sd, Mapping) else noise_sd)
        if not sd > 0:
            raise InputError(f"noise_sd: {sd} of {name!r} must be a number of points above 0")
        up = {**rated, name: rated[name] + width / 2}
        down = {**rated, name: rated[name] - width / 2}
        slope = ((_worth(utility, up) - _worth(utility, down)) / width).mean(axis=0)
        felt = slope[kept, None] * rows[kept]
        felt = felt - chances[kept] @ felt
        weights = (felt * chances[kept, None]).T @ felt
        covariance = (
            np.cov(d, rowvar=False)
            if covariances is None
            else np.asarray(covariances[name], dtype=float)
        )
        aspects.append(Aspect(name, _precision(covariance, sd, len(d), name), weights, sd))
    return Doubt(tuple(aspects), points[kept], chances[kept])


def _check_draws(draws: Mapping[str, Floats], p: int) -> None:
    if not draws:
        raise InputError("draws: no attribute given; name at least one")
    sizes = {d.shape[0] for d in draws.values() if d.ndim == 2}
    for name, d in draws.items():
        if d.ndim != 2 or d.shape[1] != p or len(sizes) != 1:
            raise InputError(
                f"draws: {name!r} has shape {d.shape}; give (s, {p}) for every attribute, s alike"
            )


def _worth(utility: Utility, rated: Mapping[str, Floats]) -> Floats:
    worth = np.asarray(utility(rated), dtype=float)
    expected = next(iter(rated.values())).shape
    if worth.shape != expected or not np.isfinite(worth).all():
        raise InputError(
            f"utility: returned shape {worth.shape}; it must return finite numbers of shape "
            f"{expected}, one for each draw and recipe"
        )
    return worth


def _precision(covariance: Floats, sd: float, draws: int, name: str) -> Floats:
    p = len(covariance)
    rank = np.linalg.matrix_rank(covariance, hermitian=True)
    if rank < p and draws <= p:
        raise InputError(
            f"draws: {draws} draws cannot tell the covariance of {p} coefficients of {name!r}; "
            "give more draws, or covariances="
        )
    nudge = 1e-10 * np.trace(covariance) / p * np.eye(p)
    found = np.linalg.inv(covariance + nudge) * sd**2
    return np.asarray((found + found.T) / 2)
