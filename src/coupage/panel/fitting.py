"""From columns to beliefs."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from coupage.errors import InputError
from coupage.panel.beliefs import MODEL_VERSION, Beliefs
from coupage.panel.columns import Ratings, Samples, read_ratings, read_samples
from coupage.panel.conditional import condense
from coupage.panel.design import Layout, build_layout, build_terms, sample_features
from coupage.panel.heavy_tails import weighted_table
from coupage.panel.importance import Draws, integrate
from coupage.panel.marginal import Table, reduce_table
from coupage.panel.mode import Start, find_mode
from coupage.panel.modepart import ModePart, biases, doubt_at_mode
from coupage.panel.parts import Doubt, IntegratedPart, Part, TasterFacts
from coupage.panel.priors import Priors, from_normal
from coupage.panel.reading import Columns
from coupage.panel.system import build_system
from coupage.panel.tasting import agreement, signal

__all__ = ["fit"]

# Up to so many coefficients their covariance is formed once, so that every later question is a
# small product; beyond, covariances are solved for when asked.
WHOLE_LIMIT = 400

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
Method = Literal["auto", "integrated", "mode"]

INTEGRATED_LIMIT = 150


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
    method: Method = "auto",
    start: Beliefs | None = None,
    tails: float | None = None,
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
    method
        ``"integrated"`` integrates the standard deviations out; ``"mode"`` takes their posterior
        mode, for tables so large that their doubt no longer matters and that dense matrices would
        not fit. ``"auto"`` integrates while the terms span at most ``INTEGRATED_LIMIT``
        directions (about that many samples, tasters and cuppings together).
    start
        Beliefs from nearly the same table, to begin the search of the mode from.
    tails
        Degrees of freedom of Student's t noise, such as 4: a slipped finger then loses weight.
        None for Gaussian noise. Integrated tables only.

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
    if tails is not None and not tails > 2:
        raise InputError(f"tails: {tails!r} degrees of freedom have no variance; give 3 or more")
    if not 0.5 < threshold < 1:
        raise InputError(f"threshold: {threshold!r} must lie between 0.5 and 1, such as 0.9")
    described = read_samples(
        samples, reference_age=reference_age, features=features, extra_components=extra_components
    )
    given = read_ratings(ratings, described.names, attributes=attributes, scale=priors.scale)
    if not given.attributes:
        raise InputError("ratings: there is no row; rate at least one cup, or name attributes=")
    layout = build_layout(described, np.unique(given.sample), _pass_count(given))
    parts: dict[int, Part] = {}
    task = _Task(given, described, layout, priors, seed, sample_features(described, layout))
    methods = set()
    for which, rows in _groups(given):
        chosen = choose_method(given, rows[0]) if method == "auto" else method
        methods.add(chosen)
        if chosen == "integrated":
            parts.update(_integrated(task, which, rows, tails))
        elif tails is not None:
            raise InputError("tails: heavy tails need method='integrated' and a smaller table")
        else:
            parts.update(_at_mode(task, which, rows, start))
    return Beliefs(
        attributes=given.attributes,
        components=described.components,
        samples=described.names,
        batches=described.batches,
        passes=given.passes,
        taster_names=given.tasters,
        layout=layout,
        sample_features=task.levels,
        parts=tuple(parts[a] for a in range(len(given.attributes))),
        priors=priors,
        reference_age=reference_age,
        threshold=threshold,
        method="integrated" if methods == {"integrated"} else "mode",
        notes=(),
        fingerprint=_fingerprint(
            given, described, priors, reference_age, seed, threshold, [*sorted(methods), str(tails)]
        ),
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


@dataclass(frozen=True, slots=True)
class _Task:
    """What all attributes share; ``levels`` (S, t) as in :func:`sample_features`."""

    given: Ratings
    described: Samples
    layout: Layout
    priors: Priors
    seed: int
    levels: sparse.csr_array

    def facts(self, rows: Codes, coefficients: Floats, mean: Floats, sd: Floats) -> TasterFacts:
        taster, count = self.given.taster[rows], len(self.given.tasters)
        level = self.levels[self.given.sample[rows]] @ coefficients
        return TasterFacts(
            ratings=np.bincount(taster, minlength=count).astype(np.float64),
            bias_mean=mean,
            bias_sd=sd,
            signal=signal(level, taster, count),
            agreement=agreement(self.given, rows),
        )


def choose_method(given: Ratings, rows: Codes) -> Method:
    """Integrate while the directions that the terms can span are few enough."""
    cells = len(np.unique(given.sample[rows] * len(given.cuppings) + given.cupping[rows]))
    own = given.taster[rows] * (int(given.sample.max(initial=0)) + 1) + given.sample[rows]
    pairs = len(np.unique(own))
    views = pairs if pairs < len(rows) else 0
    span = min(len(rows), cells + len(given.tasters) + len(given.passes) + views)
    return "integrated" if span <= INTEGRATED_LIMIT else "mode"


def _integrated(
    task: _Task, which: list[int], rows: Codes, tails: float | None
) -> dict[int, IntegratedPart]:
    given, priors = task.given, task.priors
    terms = build_terms(given, task.described, task.layout, priors, rows[0])
    taster = given.taster[rows[0]]
    separate = priors.noise_ratio > 0 and len(given.tasters) > 1
    groups = taster if separate else np.zeros_like(taster)
    count = len(given.tasters) if separate else 1
    ratings = given.rating[rows]
    if tails is None:
        whole = reduce_table(terms, ratings, groups, count, priors)
        found = integrate(whole, np.random.default_rng([task.seed, 1]))
        tables = [(whole, i, drawn) for i, drawn in enumerate(found)]
    else:
        # Weights differ between attributes, so each has a table of its own.
        tables = []
        for values in ratings:
            own, _ = weighted_table(terms, values, groups, count, priors, tails)
            tables.append((own, 0, integrate(own, np.random.default_rng([task.seed, 1]))[0]))
    out = {}
    for i, (a, (table, place, drawn)) in enumerate(zip(which, tables, strict=True)):
        part = _part(table, place, drawn, task.layout, priors, task.seed, len(given.tasters))
        bias = part.tasters
        facts = task.facts(rows[i], part.weights @ part.means, bias.bias_mean, bias.bias_sd)
        out[a] = replace(part, tasters=facts)
    return out


def _at_mode(task: _Task, which: list[int], rows: Codes, start: Beliefs | None) -> dict[int, Part]:
    given, priors = task.given, task.priors
    terms = build_terms(given, task.described, task.layout, priors, rows[0])
    system = build_system(terms, given, rows[0])
    shift = np.zeros(task.layout.size)
    shift[: task.layout.components] = priors.mean
    taster = system.slices[system.names.index("taster")]
    out: dict[int, Part] = {}
    for i, a in enumerate(which):
        before = _earlier(start, given.attributes[a], given.tasters)
        mode = find_mode(system, given.rating[rows[i]], priors, start=before, seed=task.seed)
        doubt = doubt_at_mode(mode, system, priors)
        effects = np.mean([point.effects for point in mode.points], axis=0)
        facts = task.facts(rows[i], shift + system.target @ effects, *biases(mode, taster))
        pairing = doubt.names.index("pairing")
        unit = from_normal(np.array([point.v[pairing] for point in mode.points]))
        part = ModePart(mode.points, shift, np.square(priors.pairing * unit), doubt, facts)
        few = task.layout.size <= WHOLE_LIMIT
        out[a] = part.restrict(np.arange(task.layout.size)) if few else part
    return out


def _earlier(start: Beliefs | None, attribute: str, tasters: tuple[str, ...]) -> Start | None:
    """Standard deviations of earlier beliefs, tasters matched by name."""
    if start is None or attribute not in start.attributes:
        return None
    doubt = start.parts[start.attributes.index(attribute)].doubt
    noise = float(np.median(doubt.noise))
    own = dict(zip(start.taster_names, np.median(doubt.own_noise, axis=0).tolist(), strict=True))
    return Start(
        terms=dict(zip(doubt.names, np.median(doubt.terms, axis=0).tolist(), strict=True)),
        noise=noise,
        ratio=np.array([own.get(t, noise) / noise for t in tasters]),
    )


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
    methods: list[str],
) -> str:
    digest = hashlib.sha256()
    for thing in (MODEL_VERSION, priors, reference_age, seed, threshold, methods):
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
