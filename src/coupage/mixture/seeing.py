"""How likely a table of samples shows a difference.

Everything is Gaussian once the sds of the table's model are given, so the chance is computed, not
simulated: the samples' mean ratings have covariance

    noise_sd**2 / (tasters * cups)              each its own
    + batch_sd**2 * sum x**2                    each its own, or
      batch_sd**2 * sum x x'                    when they are weighed from the same batches
    + cupping_sd**2 + taster_sd**2 / tasters    all together,

and the difference of two recipes is judged from its posterior. It counts as seen when the chance
that the higher one is higher reaches ``sure``.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

from coupage.errors import InfeasibleError, InputError
from coupage.mixture.limits import Floats
from coupage.mixture.terms import Order, model_matrix

__all__ = ["Seeing", "Spreads", "cups_needed", "seen_chance"]

_MOST_CUPS = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class Spreads:
    """Sds of one attribute's ratings in points, as the table's model tells them.

    Attributes
    ----------
    noise
        Of one taster's rating of one cup.
    taster, cupping
        Of a taster's bias and of a day's drift.
    batch
        Of what one roast batch has that its sisters have not; a blend of several batches has less.
    """

    noise: float
    taster: float = 0.0
    cupping: float = 0.0
    batch: float = 0.0

    def __post_init__(self) -> None:
        for name in ("noise", "taster", "cupping", "batch"):
            value = getattr(self, name)
            if not (np.isfinite(value) and value >= 0) or (name == "noise" and value == 0):
                raise InputError(
                    f"{name}: {value} must be an sd in points, not negative"
                    + (", above 0" if name == "noise" else "")
                )


@dataclass(frozen=True, slots=True, kw_only=True)
class Seeing:
    """A table, a difference, and the chance that the one shows the other.

    Attributes
    ----------
    chance
        That the difference is seen; of several pairs of samples the average.
    least
        Of the pair of samples hardest to tell apart.
    sd
        Of the posterior of the difference (average over pairs), in points.
    """

    difference: float
    samples: int
    tasters: int
    cups: int
    sure: float
    chance: float
    least: float
    sd: float

    def words(self, attribute: str) -> str:
        """Say it as a roaster would."""
        tenths = round(10 * self.chance)
        if self.chance >= 0.975:
            often = "almost every time"
        elif tenths == 0:
            often = "hardly ever"
        elif self.chance > 0.94:
            often = "19 times in 20"
        else:
            often = f"{tenths} {'time' if tenths == 1 else 'times'} in 10"
        table = f"{_count(self.samples, 'sample')} and {_count(self.tasters, 'taster')}"
        each = "" if self.cups == 1 else f" rating {_count(self.cups, 'cup')} of each"
        points = "one point" if self.difference == 1 else f"{self.difference:g} points"
        return f"With {table}{each}, a difference of {points} in {attribute} would be seen {often}."


def seen_chance(
    difference: float,
    points: int | npt.ArrayLike,
    tasters: int,
    cups: int = 1,
    *,
    spreads: Spreads,
    between: tuple[npt.ArrayLike, npt.ArrayLike] | None = None,
    order: Order = "quadratic",
    prior_precision: npt.ArrayLike | None = None,
    sure: float = 0.95,
    one_batch: bool = False,
) -> Seeing:
    """Compute the chance that a table shows a difference between two samples or two recipes.

    Parameters
    ----------
    difference
        True difference of the two, in points.
    points : int or (n, q)
        The samples: how many straight samples, each judged by its own ratings alone; or their
        shares, judged together by a Scheffe polynomial.
    tasters, cups
        Every taster rates so many cups of every sample.
    spreads
        Sds of the attribute.
    between : two recipes (q,), optional
        What is compared; by default each pair of different samples.
    order, prior_precision : optional
        The polynomial, and the precision (p, p) of its coefficients in 1/points**2, when ``points``
        are shares. With it the chance averages over everything but the difference.
    sure
        Posterior chance of being higher at which a difference counts as seen.
    one_batch
        Whether all samples are weighed from one batch of each coffee, as at a table of trial blends
        they are. Then a repeat of a blend repeats its batches too, and no number of samples tells
        a coffee from its batch.

    Raises
    ------
    InputError
        When arguments do not fit, or the samples cannot tell the difference at any length.

    Examples
    --------
    Two samples, nothing but cup noise: the textbook z test. Four ratings each of sd 1 give the
    difference an sd of 0.707, and Phi(1.5 / 0.707 - 1.645) = 0.683:

    >>> table = seen_chance(1.5, 2, tasters=4, spreads=Spreads(noise=1.0))
    >>> round(table.chance, 3)
    0.683
    >>> table.words("body")
    'With 2 samples and 4 tasters, a difference of 1.5 points in body would be seen 7 times in 10.'
    """
    _check(difference, tasters, cups, sure)
    shares = _samples(points)
    if isinstance(points, int | np.integer):
        order = "linear"  # each sample a component of its own
    rows = model_matrix(shares, order)
    contrasts = _contrasts(shares, between, order)
    alike = shares @ shares.T
    batches = spreads.batch**2 * (alike if one_batch else np.diag(np.diag(alike)))
    own = spreads.noise**2 / (tasters * cups) * np.eye(len(shares))
    shared = spreads.cupping**2 + spreads.taster**2 / tasters
    weigh = np.linalg.inv(own + batches + shared)
    information = rows.T @ weigh @ rows
    if prior_precision is None:
        posterior, shown, sd = _flat(information, contrasts)
    else:
        prior = _precision(prior_precision, rows.shape[1])
        posterior, shown, sd = _shrunk(information, contrasts, prior)
    chances = ndtr((shown * difference - float(ndtri(sure)) * posterior) / sd)
    return Seeing(
        difference=float(difference),
        samples=len(shares),
        tasters=tasters,
        cups=cups,
        sure=sure,
        chance=float(chances.mean()),
        least=float(chances.min()),
        sd=float(posterior.mean()),
    )


def cups_needed(
    difference: float,
    points: int | npt.ArrayLike,
    tasters: int,
    *,
    spreads: Spreads,
    chance: float = 0.8,
    between: tuple[npt.ArrayLike, npt.ArrayLike] | None = None,
    order: Order = "quadratic",
    prior_precision: npt.ArrayLike | None = None,
    sure: float = 0.95,
    one_batch: bool = False,
) -> Seeing:
    """Find the fewest cups of each sample that every taster must rate to see a difference.

    Parameters
    ----------
    chance
        How often it should be seen; the others as in `seen_chance`.

    Raises
    ------
    InfeasibleError
        When no number of cups suffices: batches differ too much, or too few samples tell of it.
    """

    def table(cups: int) -> Seeing:
        return seen_chance(
            difference,
            points,
            tasters,
            cups,
            spreads=spreads,
            between=between,
            order=order,
            prior_precision=prior_precision,
            sure=sure,
            one_batch=one_batch,
        )

    if not 0 < chance < 1:
        raise InputError(f"chance: {chance} must lie between 0 and 1")
    if table(_MOST_CUPS).chance < chance:
        raise InfeasibleError(
            f"cups: even {_MOST_CUPS} cups of each sample show it only "
            f"{table(_MOST_CUPS).chance:.0%} of the time; cup more batches or more samples"
        )
    low, high = 0, _MOST_CUPS  # the chance rises with every cup
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if table(middle).chance >= chance else (middle, high)
    return table(high)


def _flat(information: Floats, contrasts: Floats) -> tuple[Floats, Floats, Floats]:
    """Nothing known before: the estimate shows all of the difference, with the posterior's sd."""
    values, axes = np.linalg.eigh(information)
    told = values > 1e-9 * values.max()
    lost = contrasts @ axes[:, ~told]
    if np.abs(lost).max(initial=0) > 1e-6:
        raise InputError(
            "points: these samples cannot tell that difference at all; add samples, take a lower "
            "order, or give prior_precision"
        )
    along = contrasts @ axes[:, told]
    sd = np.sqrt((along**2 / values[told]).sum(axis=1))
    return sd, np.ones(len(sd)), sd


def _shrunk(information: Floats, contrasts: Floats, prior: Floats) -> tuple[Floats, Floats, Floats]:
    """Posterior sd; how much of the difference its mean shows, and the sd of that mean."""
    before, after = np.linalg.inv(prior), np.linalg.inv(prior + information)
    gain = contrasts @ after @ information  # posterior mean = gain @ (theta + what errors add)
    known = contrasts @ before
    size = np.einsum("ij,ij->i", known, contrasts)
    share = np.einsum("ij,ij->i", gain, known) / size
    # Given the difference, the other directions of theta still scatter as before the table.
    scatter = np.einsum("ij,jk,ik->i", gain, before, gain) - share**2 * size
    error = np.einsum("ij,jk,ik->i", gain, after, contrasts)
    posterior = np.sqrt(np.einsum("ij,jk,ik->i", contrasts, after, contrasts))
    return posterior, share, np.sqrt(np.maximum(scatter + error, 1e-300))


def _samples(points: int | npt.ArrayLike) -> Floats:
    if isinstance(points, int | np.integer):
        if points < 2:
            raise InputError(f"points: {points} samples hold no difference; take two or more")
        return np.eye(int(points))
    shares = np.asarray(points, dtype=float)
    if shares.ndim != 2 or np.abs(shares.sum(axis=1) - 1).max(initial=0) > 1e-6:
        raise InputError("points: must be a number of samples, or rows of shares that sum to 1")
    return shares


def _contrasts(
    shares: Floats, between: tuple[npt.ArrayLike, npt.ArrayLike] | None, order: Order
) -> Floats:
    """Differences in terms (k, p): of the two recipes asked for, or of every pair of samples."""
    recipes = shares if between is None else np.array([np.asarray(x, float) for x in between])
    if recipes.ndim != 2 or recipes.shape[1] != shares.shape[1]:
        raise InputError(f"between: give two recipes of {shares.shape[1]} shares each")
    rows = model_matrix(recipes, order)
    found = np.array([a - b for a, b in combinations(rows, 2)])
    found = found[np.abs(found).max(axis=1) > 1e-9]
    if not len(found):
        raise InputError("between: the recipes are the same; there is no difference to see")
    return np.asarray(found)


def _precision(precision: npt.ArrayLike, p: int) -> Floats:
    matrix = np.asarray(precision, dtype=float)
    if matrix.shape != (p, p) or np.linalg.eigvalsh(matrix).min() <= 0:
        raise InputError(f"prior_precision: must be ({p}, {p}), symmetric, positive definite")
    return matrix


def _check(difference: float, tasters: int, cups: int, sure: float) -> None:
    if not difference > 0:
        raise InputError(f"difference: {difference} must be a number of points above 0")
    if tasters < 1 or cups < 1:
        raise InputError(f"tasters, cups: {tasters} and {cups} must be at least 1")
    if not 0.5 < sure < 1:
        raise InputError(f"sure: {sure} must lie between 0.5 and 1")


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"
