"""From columns to beliefs."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from coupage.errors import InputError
from coupage.panel.beliefs import MODEL_VERSION, Beliefs
from coupage.panel.columns import Columns, Ratings, Samples, read_ratings, read_samples
from coupage.panel.conditional import condense
from coupage.panel.design import Layout, build_layout, build_terms, sample_features
from coupage.panel.importance import Draws, integrate
from coupage.panel.marginal import Table, reduce_table
from coupage.panel.parts import Doubt, IntegratedPart, TasterFacts
from coupage.panel.priors import Priors
from coupage.panel.tasting import agreement, signal

__all__ = ["fit"]

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]


def fit(
    ratings: Columns,
    samples: Columns,
    *,
    priors: Priors | None = None,
    attributes: Sequence[str] | None = None,
    reference_age: float = 7.0,
    seed: int = 0,
    features: Columns | None = None,
    extra_components: Iterable[str] = (),
    threshold: float = 0.9,
) -> Beliefs:
    """Fit the model of the table.

    Parameters
    ----------
    ratings
        Columns ``cupping, taster, sample, attribute, rating`` and, where there are any, ``cup``
        (number of a repeated cup) and ``pass_name``. One row a rating from 0 to 10; a row whose
        rating is missing is skipped.
    samples
        Columns ``sample, component, proportion``, one row for each sample and component, and,
        where known, ``batch``, ``age_days``, ``lot``. A component is a lot roasted by an approach.
    priors
        Scales of the priors, as in :class:`Priors`.
    attributes
        Which to fit; all that were rated by default.
    reference_age
        Age in days that profiles and comparisons speak of.
    seed
        Fixes every random draw: the same call gives the same beliefs.
    features
        Column ``component`` and any others that describe it (process, species, roast level):
        numbers or words. Coffees that share a feature are believed to be more alike.
    extra_components
        Coffees that were never cupped and are to be part of recipes.
    threshold
        Chance that a verdict needs.

    Returns
    -------
    Beliefs

    Raises
    ------
    InputError
        With the table, row, column and remedy, when something cannot be used.

    Examples
    --------
    >>> samples = {"sample": ["A", "B"], "component": ["hill", "lake"], "proportion": [1, 1]}
    >>> ratings = {"cupping": [1] * 4, "taster": ["t", "t", "u", "u"], "sample": ["A", "B"] * 2,
    ...            "attribute": ["sweetness"] * 4, "rating": [6.5, 5.0, 7.0, 5.5]}
    >>> beliefs = fit(ratings, samples)
    >>> beliefs.compare("A", "B", tolerance=0.5)["sweetness"].verdict
    'not enough cups'
    """
    priors = priors or Priors()
    if not 0.5 < threshold < 1:
        raise InputError(f"threshold: {threshold!r} must lie between 0.5 and 1, such as 0.9")
    described = read_samples(
        samples, reference_age=reference_age, features=features, extra_components=extra_components
    )
    given = read_ratings(ratings, described.names, attributes=attributes, scale=priors.scale)
    if not given.attributes:
        raise InputError("ratings: there is no row; rate at least one cup, or name attributes=")
    layout = build_layout(described, np.unique(given.sample), _pass_count(given))
    parts: dict[int, IntegratedPart] = {}
    for which, rows in _groups(given):
        parts.update(_integrated(which, rows, given, described, layout, priors, seed))
    return Beliefs(
        attributes=given.attributes,
        components=described.components,
        samples=described.names,
        batches=described.batches,
        passes=given.passes,
        taster_names=given.tasters,
        layout=layout,
        sample_features=sample_features(described, layout),
        parts=tuple(parts[a] for a in range(len(given.attributes))),
        priors=priors,
        reference_age=reference_age,
        threshold=threshold,
        method="integrated",
        notes=(),
        fingerprint=_fingerprint(given, described, priors, reference_age, seed, threshold),
    )


def _pass_count(given: Ratings) -> int:
    return len(given.passes) if len(given.passes) > 1 else 0


def _groups(given: Ratings) -> list[tuple[list[int], Codes]]:
    """Attributes that were rated on the same cups, with their rows (attributes, n)."""
    order = np.lexsort((given.place, given.attribute))
    edges = np.searchsorted(given.attribute[order], np.arange(len(given.attributes) + 1))
    found: dict[bytes, tuple[list[int], list[Codes]]] = {}
    for a in range(len(given.attributes)):
        rows = order[edges[a] : edges[a + 1]]
        which, stack = found.setdefault(given.place[rows].tobytes(), ([], []))
        which.append(a)
        stack.append(rows)
    return [(which, np.array(stack)) for which, stack in found.values()]


def _integrated(
    which: list[int],
    rows: Codes,
    given: Ratings,
    described: Samples,
    layout: Layout,
    priors: Priors,
    seed: int,
) -> dict[int, IntegratedPart]:
    terms = build_terms(given, described, layout, priors, rows[0])
    taster = given.taster[rows[0]]
    separate = priors.noise_ratio > 0 and len(given.tasters) > 1
    groups = taster if separate else np.zeros_like(taster)
    count = len(given.tasters) if separate else 1
    values = given.rating[rows]
    table = reduce_table(terms, values, groups, count, priors)
    drawn = integrate(table, np.random.default_rng([seed, 1]))
    levels = sample_features(described, layout)[given.sample[rows[0]]]
    out = {}
    for i, a in enumerate(which):
        part = _part(table, i, drawn[i], layout, priors, seed, len(given.tasters))
        mean = part.weights @ part.means
        facts = TasterFacts(
            ratings=np.bincount(taster, minlength=len(given.tasters)).astype(np.float64),
            bias_mean=part.tasters.bias_mean,
            bias_sd=part.tasters.bias_sd,
            signal=signal(levels @ mean, taster, len(given.tasters)),
            agreement=agreement(given, rows[i]),
        )
        out[a] = IntegratedPart(
            part.weights, part.means, part.covariances, part.pair_variance, part.doubt, facts
        )
    return out


def _part(
    table: Table,
    i: int,
    drawn: Draws,
    layout: Layout,
    priors: Priors,
    seed: int,
    tasters: int,
) -> IntegratedPart:
    found = condense(table, i, drawn, np.random.default_rng([seed, 2]))
    k = len(found.means)
    means = found.means.copy()
    means[:, : layout.components] += priors.mean
    at = found.scales
    own = np.broadcast_to(at.noise[:, None] * at.ratio, (len(at.noise), tasters))
    empty = np.zeros(tasters)
    return IntegratedPart(
        weights=np.full(k, 1 / k),
        means=means,
        covariances=found.covariances,
        pair_variance=found.pair_variance,
        doubt=Doubt(table.names, at.terms, at.noise, own, drawn.effective, drawn.rounds),
        tasters=TasterFacts(empty, found.effect_mean, found.effect_sd, empty, empty),
    )


def _fingerprint(
    given: Ratings,
    described: Samples,
    priors: Priors,
    reference_age: float,
    seed: int,
    threshold: float,
) -> str:
    digest = hashlib.sha256()
    for thing in (MODEL_VERSION, priors, reference_age, seed, threshold):
        digest.update(repr(thing).encode() + b"\x00")
    for table in (given, described):
        for name in table.__slots__:
            value = getattr(table, name)
            digest.update(name.encode() + b"\x00")
            if isinstance(value, np.ndarray):
                digest.update(np.ascontiguousarray(value).tobytes())
            elif isinstance(value, tuple):
                digest.update("\x00".join(value).encode())
            else:
                for array in (value.indptr, value.indices, value.data):
                    digest.update(np.ascontiguousarray(array).tobytes())
    return digest.hexdigest()
