"""Choosing which blends to cup."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
import numpy.typing as npt

from coupage.errors import InputError
from coupage.mixture.basis import Basis, make_basis
from coupage.mixture.candidates import Neighbours, candidates, on_step
from coupage.mixture.criteria import Determinant, Score, Variance, WeightedVariance
from coupage.mixture.decision import Doubt
from coupage.mixture.exchange import search
from coupage.mixture.limits import Floats
from coupage.mixture.region import Region
from coupage.mixture.terms import Order, term_count

__all__ = ["Criterion", "Trials", "assess", "choose_trials"]

Criterion = Literal["D", "I", "decision"]
_SIZES = tuple(0.2 * 0.5**k for k in range(9))
_SAME = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Trials:
    """Blends to cup, and how much they will tell.

    Attributes
    ----------
    region, order, criterion
        What was asked.
    points : (runs, q)
        The blends: those kept, the reference, the others; repeats last.
    new : (runs,) bool
        Which are still to be cupped (not in ``keep``).
    repeat_of : (runs,) int
        The earlier row that a blend repeats under a second code, else -1.
    reference : int or None
        Row of the reference sample.
    value
        What the criterion came to, prior knowledge included; smaller is better. D: minus the mean
        log eigenvalue of the information, terms scaled to the region; I: average variance of the
        predicted mean, in units of one sample's variance; decision: sd of the doubt left, in the
        units of the utility.
    d_efficiency
        ``|X'X / n| ** (1 / p)`` over the p terms that the region can tell apart, without prior
        knowledge; 0 when the blends alone tell too little.
    mean_variance
        Average over the region of ``n f' inverse(X'X) f``, likewise; infinite then.
    """

    region: Region
    order: Order
    criterion: Criterion
    points: Floats
    new: npt.NDArray[np.bool_]
    repeat_of: npt.NDArray[np.int64]
    reference: int | None
    value: float
    d_efficiency: float
    mean_variance: float


def choose_trials(
    region: Region,
    runs: int,
    order: Order = "quadratic",
    criterion: Criterion = "I",
    keep: npt.ArrayLike | None = None,
    prior_precision: npt.ArrayLike | None = None,
    step: float | None = None,
    rng: np.random.Generator | None = None,
    *,
    repeats: int = 0,
    reference: npt.ArrayLike | None = None,
    doubt: Doubt | None = None,
    starts: int | None = None,
) -> Trials:
    """Choose blends to cup: exchange over a list, then over continuous proportions.

    Parameters
    ----------
    region
        Recipes that may be cupped. Coffees roasted by two approaches are components of their own,
        with ``exclusive`` sets so that no trial holds both.
    runs
        Samples in all, ``keep`` included, up to a few dozen.
    order
        The polynomial that shall be told; see `model_matrix`.
    criterion
        ``"D"``: the coefficients as a whole. ``"I"``: the predicted intensity, averaged over the
        region. ``"decision"``: which recipe is best; needs ``doubt``.
    keep : (k, q), optional
        Blends cupped already, that count as information and stay. Leave out those that
        ``prior_precision`` or ``doubt`` know of, or they count twice.
    prior_precision : (p, p), optional
        Of the coefficients, times the variance of one sample's mean: what is known already, counted
        in samples. With it, fewer runs than terms will do.
    step : float, optional
        Shares that can be weighed: every new blend is made of multiples of it.
    rng
        Decides the random starts; the default always gives the same trials.
    repeats
        So many of the new samples repeat another new one, hidden under a second code, to show the
        tasters' own noise.
    reference : (q,), optional
        A blend to be among the new samples, whatever its worth: the one others are compared with.
    doubt
        From `doubt_about`, for ``"decision"``.
    starts
        Random starts; by default fewer the more terms there are.

    Raises
    ------
    InputError
        When arguments do not fit each other, or the runs cannot tell the terms apart.

    References
    ----------
    .. [1] Kiefer J (1961), Optimum designs in regression problems II, Ann. Math. Statist.
       32:298-325: the {q, 2} lattice is D-optimal for the quadratic model.
    .. [2] Goos P, Jones B, Syafitri U (2016), I-optimal design of mixture experiments, JASA
       111:899-911.

    Examples
    --------
    >>> trials = choose_trials(Region("ABC"), 6, criterion="D")
    >>> sorted(trials.points.round(9).tolist())[:3]
    [[0.0, 0.0, 1.0], [0.0, 0.5, 0.5], [0.0, 1.0, 0.0]]
    >>> round(trials.d_efficiency, 6)
    0.041667
    """
    rng = np.random.default_rng(0) if rng is None else rng
    basis = make_basis(region, order)
    prior = _prior(prior_precision, region.q, order)
    score = _score(basis, criterion, prior, doubt)
    kept = _rows(keep, region, "keep")
    anchor = _rows(reference, region, "reference")
    if len(anchor) > 1:
        raise InputError(f"reference: {len(anchor)} blends given; name one")
    if len(anchor) and not region.contains(anchor)[0]:
        raise InputError("reference: it breaks the limits of the region; widen them or change it")
    if step is not None and len(anchor) and np.abs(on_step(anchor, step) - anchor).max() > _SAME:
        raise InputError(f"reference: its shares are not multiples of the step {step:g}")
    free = runs - len(kept) - len(anchor)
    if not 0 <= repeats < max(1, free + len(anchor)):
        raise InputError(
            f"repeats: {repeats} of {free + len(anchor)} new samples; "
            "at least one must be left to be repeated"
        )
    if free < 1:
        raise InputError(
            f"runs: {runs} leave nothing to choose beside {len(kept)} kept and "
            f"{len(anchor)} reference samples; ask for more"
        )
    fixed = np.concatenate([kept, anchor])
    found = _with_repeats(region, basis, score, fixed, len(kept), free, repeats, step, starts, rng)
    if found is None:
        raise InputError(
            f"runs: {runs} samples cannot tell the {len(basis.kept)} terms of the {order} model "
            "apart; ask for more, take a lower order, or give prior_precision"
        )
    points = np.concatenate([fixed, found])
    row = len(kept) if len(anchor) else None
    return _judged(region, basis, score, criterion, points, len(kept), row)


def assess(
    region: Region,
    points: npt.ArrayLike,
    order: Order = "quadratic",
    criterion: Criterion = "I",
    *,
    kept: int = 0,
    reference: int | None = None,
    prior_precision: npt.ArrayLike | None = None,
    doubt: Doubt | None = None,
) -> Trials:
    """Judge given blends as `choose_trials` judges its own: what an edit by hand gains or loses.

    Parameters
    ----------
    points : (n, q)
        The blends, the first ``kept`` of them cupped already.

    Examples
    --------
    >>> from coupage.mixture import simplex_lattice
    >>> round(assess(Region("ABC"), simplex_lattice(3, 2)).mean_variance, 6)
    3.8
    """
    basis = make_basis(region, order)
    score = _score(basis, criterion, _prior(prior_precision, region.q, order), doubt)
    rows = _rows(points, region, "points")
    return _judged(region, basis, score, criterion, rows, kept, reference)


def _rows(x: npt.ArrayLike | None, region: Region, what: str) -> Floats:
    if x is None:
        return np.empty((0, region.q))
    rows = np.atleast_2d(np.asarray(x, dtype=float))
    if rows.size == 0:
        return np.empty((0, region.q))
    if rows.ndim != 2 or rows.shape[1] != region.q:
        raise InputError(f"{what}: shape {rows.shape} must be rows of {region.q} shares")
    if not (rows.min() >= -_SAME and np.abs(rows.sum(axis=1) - 1).max() <= _SAME):
        raise InputError(f"{what}: every row must hold shares from 0 to 1 that sum to 1")
    return rows


def _prior(precision: npt.ArrayLike | None, q: int, order: Order) -> Floats:
    p = term_count(q, order)
    if precision is None:
        return np.zeros((p, p))
    matrix = np.asarray(precision, dtype=float)
    if matrix.shape != (p, p):
        raise InputError(
            f"prior_precision: shape {matrix.shape} must be ({p}, {p}), a row for each term"
        )
    if not np.allclose(matrix, matrix.T) or np.linalg.eigvalsh(matrix).min() < -1e-8 * max(
        1.0, float(np.abs(matrix).max())
    ):
        raise InputError("prior_precision: must be symmetric without negative eigenvalues")
    return matrix


def _score(basis: Basis, criterion: Criterion, prior: Floats, doubt: Doubt | None) -> Score:
    if criterion not in get_args(Criterion):
        raise InputError(
            f"criterion: {criterion!r} must be one of {', '.join(get_args(Criterion))}"
        )
    if (criterion == "decision") != (doubt is not None):
        raise InputError('doubt: belongs to criterion "decision", and only there; see doubt_about')
    if criterion == "D":
        return Determinant(basis.precision(prior))
    if doubt is None:
        return Variance(basis.precision(prior))
    parts = []
    for aspect in doubt.aspects:
        if aspect.precision.shape != prior.shape:
            raise InputError(
                f"doubt: {aspect.name!r} has {len(aspect.precision)} terms, the model {len(prior)}"
            )
        weights = aspect.noise_sd**2 * basis.weights(aspect.weights)
        parts.append(Variance(basis.precision(prior + aspect.precision), weights))
    return WeightedVariance(parts)


def _with_repeats(
    region: Region,
    basis: Basis,
    score: Score,
    fixed: Floats,
    kept: int,
    free: int,
    repeats: int,
    step: float | None,
    starts: int | None,
    rng: np.random.Generator,
) -> Floats | None:
    """Set aside as few rows for repeats as it takes: good designs repeat by themselves."""
    listed = candidates(region, step, rng)
    neighbours = Neighbours(region, step)
    terms = len(basis.kept)
    count = starts or (16 if terms <= 21 else 8)
    sizes = _SIZES if step is None else tuple(step * k for k in (4, 2, 1) if step * k < 1)
    for aside in range(repeats + 1):
        found = search(
            score,
            basis,
            listed,
            neighbours,
            fixed,
            free - aside,
            sizes=sizes,
            starts=count,
            rng=rng,
        )
        if found is None:
            return None
        found = _repeat_best(score, basis, fixed, kept, found, aside)
        own = np.concatenate([fixed[kept:], found])
        if np.count_nonzero(_repeats(own, 0) >= 0) >= repeats:
            break
    return found


def _repeat_best(
    score: Score, basis: Basis, fixed: Floats, kept: int, found: Floats, count: int
) -> Floats:
    """Add repeats of new samples, each time the one that tells most, none twice."""
    own = np.concatenate([fixed[kept:], found])
    seen = set(_repeats(own, 0).tolist())
    for _ in range(count):
        left = [i for i in range(len(own)) if i not in seen]
        if not left:
            raise InputError(
                f"repeats: {count} are more than there are different samples to repeat; "
                "ask for fewer repeats or more runs"
            )
        trial = [
            score.start(basis.rows(np.concatenate([fixed, found, own[i : i + 1]]))) for i in left
        ]
        best = left[int(np.argmin(trial))]
        seen.add(best)
        found = np.concatenate([found, own[best : best + 1]])
    return found


def _repeats(points: Floats, kept: int) -> npt.NDArray[np.int64]:
    """For each row the earlier new row that it repeats, else -1; kept rows repeat nothing."""
    found = np.full(len(points), -1, dtype=np.int64)
    for i in range(kept + 1, len(points)):
        same = np.flatnonzero(np.abs(points[kept:i] - points[i]).max(axis=1) < _SAME)
        if same.size:
            found[i] = kept + same[0]
    return found


def _judged(
    region: Region,
    basis: Basis,
    score: Score,
    criterion: Criterion,
    points: Floats,
    kept: int,
    reference: int | None,
) -> Trials:
    order = kept + (reference is not None)
    tail = points[order:]
    late = _repeats(points, kept)[order:] >= 0
    points = np.concatenate([points[:order], tail[~late], tail[late]])
    n, p = len(points), len(basis.kept)
    plain = Determinant(np.zeros((p, p)))
    rows = basis.rows(points)
    information = -plain.start(rows) if n >= p else -np.inf
    size = np.linalg.slogdet(basis.moments)[1] / p  # back from the region's scale
    value = score.start(rows)
    return Trials(
        region=region,
        order=basis.order,
        criterion=criterion,
        points=points,
        new=np.arange(n) >= kept,
        repeat_of=_repeats(points, kept),
        reference=reference,
        value=float(np.sqrt(max(0.0, value))) if criterion == "decision" else value,
        d_efficiency=float(np.exp(information + size) / n),
        mean_variance=n * Variance(np.zeros((p, p))).start(rows) if n >= p else np.inf,
    )
