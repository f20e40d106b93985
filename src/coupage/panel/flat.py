"""The model with flat priors: the figures that classical programs print.

Without random terms this is least squares; with them, restricted maximum likelihood, found by the
search that large tables use. It is here to be compared with others, and for readers who ask.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coupage.errors import InputError
from coupage.panel.columns import Ratings, Samples, read_ratings, read_samples
from coupage.panel.design import Layout, Term, build_layout, build_terms
from coupage.panel.least_squares import least_squares
from coupage.panel.mode import Mode, find_mode
from coupage.panel.priors import Priors
from coupage.panel.reading import Columns, nearest
from coupage.panel.system import System, build_system

__all__ = ["FlatFit", "fit_flat"]

Floats = NDArray[np.float64]

_PRIORS = Priors(mean=0.0, noise_ratio=0.0, rating_step=0.0, scale=(-float("inf"), float("inf")))
_CHOICES = ("pairing", "batch", "taster", "cupping", "disagreement")


@dataclass(frozen=True, slots=True)
class FlatFit:
    """Estimates of one attribute under flat priors.

    ``coefficients`` and ``standard_errors`` by name: components, pairs as ``"a x b"``, passes;
    ``sds`` of the random terms; ``residual_sd`` and ``residual_df`` (ratings less fixed effects).
    """

    coefficients: Mapping[str, float]
    standard_errors: Mapping[str, float]
    sds: Mapping[str, float]
    residual_sd: float
    residual_df: int


def fit_flat(
    ratings: Columns,
    samples: Columns,
    *,
    random: Sequence[str] = (),
    attributes: Sequence[str] | None = None,
) -> dict[str, FlatFit]:
    """Fit components and pairs as fixed effects, the terms named in ``random`` as random ones.

    Raises
    ------
    InputError
        For an unknown term, or when the samples cannot tell the fixed effects apart.

    Examples
    --------
    >>> samples = {"sample": ["A", "B"], "component": ["hill", "lake"], "proportion": [1, 1]}
    >>> ratings = {"cupping": [1] * 4, "taster": ["t", "t", "u", "u"], "sample": ["A", "B"] * 2,
    ...            "attribute": ["body"] * 4, "rating": [6.0, 5.0, 7.0, 5.5]}
    >>> fit_flat(ratings, samples)["body"].coefficients
    {'hill': 6.5, 'lake': 5.25}
    """
    for name in random:
        if name not in _CHOICES:
            raise InputError(f"random: there is no term {name!r}; {nearest(name, _CHOICES)}")
    described = read_samples(samples, reference_age=0.0)
    given = read_ratings(ratings, described.names, attributes=attributes, scale=_PRIORS.scale)
    passes = len(given.passes) if len(given.passes) > 1 else 0
    layout = build_layout(described, np.unique(given.sample), passes)
    out = {}
    for a, attribute in enumerate(given.attributes):
        rows = np.flatnonzero(given.attribute == a)
        # A component is a fixed effect whether or not its lot has several.
        fixed = {"coffee", "approach", "passes"} | ({"pairing"} - set(random))
        terms = [
            t
            for t in build_terms(given, described, layout, _PRIORS, rows)
            if t.name in fixed or t.name in random
        ]
        names = _names(terms, described, layout, given)
        if any(t.name in random for t in terms):
            out[attribute] = _restricted(terms, names, given, rows, frozenset(fixed))
        else:
            columns = np.hstack([t.columns.toarray() for t in terms])
            found = least_squares(columns, given.rating[rows])
            out[attribute] = FlatFit(
                dict(zip(names, found.coefficients.tolist(), strict=True)),
                dict(zip(names, found.standard_errors.tolist(), strict=True)),
                {},
                found.residual_sd,
                found.residual_df,
            )
    return out


def _names(terms: Sequence[Term], samples: Samples, layout: Layout, given: Ratings) -> list[str]:
    """Names of the fixed effects, in the order of their columns."""
    c = samples.components
    known = {
        "coffee": list(c),
        "approach": list(c),
        "pairing": [f"{c[i]} x {c[j]}" for i, j in layout.pairs],
        "passes": [f"pass contrast {k + 1}" for k in range(len(given.passes) - 1)],
    }
    return [name for t in terms for name in known.get(t.name, [])]


def _restricted(
    terms: Sequence[Term],
    names: list[str],
    given: Ratings,
    rows: NDArray[np.int64],
    fixed: frozenset[str],
) -> FlatFit:
    system = build_system(terms, given, rows)
    try:
        mode = find_mode(
            system, given.rating[rows], _PRIORS, flat=fixed, flat_scales=True, goal=1e-7
        )
    except np.linalg.LinAlgError:
        raise InputError(
            "samples: they cannot tell the fixed effects apart; name 'pairing' as random, or "
            "cup the coffees in more proportions"
        ) from None
    at = np.concatenate(
        [
            np.arange(part.start, part.stop)
            for name, part in zip(system.names, system.slices, strict=True)
            if name in fixed
        ]
    )
    effects, errors = _fixed(mode, system, at)
    free = [n for n in system.names if n not in fixed]
    return FlatFit(
        dict(zip(names, effects.tolist(), strict=True)),
        dict(zip(names, errors.tolist(), strict=True)),
        dict(zip(free, mode.terms.tolist(), strict=True)),
        mode.noise,
        len(rows) - len(at),
    )


def _fixed(mode: Mode, system: System, at: NDArray[np.int64]) -> tuple[Floats, Floats]:
    point = mode.points[0]
    unit = np.zeros((system.size, len(at)))
    unit[at, np.arange(len(at))] = 1
    covariance = point.equations.solve(unit, tolerance=1e-12)[at]
    return point.effects[at], np.sqrt(np.diagonal(covariance))
