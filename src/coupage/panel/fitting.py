"""From columns to beliefs."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coupage.errors import InputError
from coupage.panel.beliefs import MODEL_VERSION, Beliefs
from coupage.panel.building import Method, Task, around_mode, choose_method, integrated
from coupage.panel.columns import Ratings, Samples, read_ratings, read_samples
from coupage.panel.design import build_layout, sample_features
from coupage.panel.notes import notes_on
from coupage.panel.parts import Part
from coupage.panel.priors import Priors
from coupage.panel.reading import Columns

__all__ = ["fingerprint", "fit"]

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
    method: Method = "auto",
    tails: float | None = None,
    start: Beliefs | None = None,
    progress: Callable[[float], None] | None = None,
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
    progress
        Called with the share of attributes done, for a background task to show.

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
    settings = _Settings(priors or Priors(), reference_age, seed, threshold, tails)
    task, plan, digest = _prepare(
        ratings, samples, settings, attributes, features, extra_components, method
    )
    parts: dict[int, Part] = {}
    for chosen, which, rows in plan:
        if chosen == "integrated":
            parts.update(integrated(task, which, rows, tails))
        else:
            for a, part in around_mode(task, which, rows, start):
                parts[a] = part
                if progress:
                    progress(len(parts) / len(task.given.attributes))
        if progress:
            progress(len(parts) / len(task.given.attributes))
    given, described = task.given, task.described
    every = tuple(parts[a] for a in range(len(given.attributes)))
    return Beliefs(
        attributes=given.attributes,
        components=described.components,
        samples=described.names,
        batches=described.batches,
        passes=given.passes,
        taster_names=given.tasters,
        layout=task.layout,
        sample_features=task.levels,
        parts=every,
        priors=settings.priors,
        reference_age=reference_age,
        threshold=threshold,
        method="integrated" if all(p[0] == "integrated" for p in plan) else "mode",
        notes=notes_on(given, described, every),
        fingerprint=digest,
    )


def fingerprint(
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
    tails: float | None = None,
) -> str:
    """The fingerprint that the beliefs of :func:`fit` with these arguments would carry.

    Reading the columns is far cheaper than fitting: look a stored fit up by it first.

    Examples
    --------
    >>> samples = {"sample": ["A"], "component": ["hill"], "proportion": [1]}
    >>> ratings = {"cupping": [1], "taster": ["t"], "sample": ["A"], "attribute": ["body"],
    ...            "rating": [6.5]}
    >>> fingerprint(ratings, samples) == fit(ratings, samples).fingerprint
    True
    """
    settings = _Settings(priors or Priors(), reference_age, seed, threshold, tails)
    return _prepare(ratings, samples, settings, attributes, features, extra_components, method)[2]


@dataclass(frozen=True, slots=True)
class _Settings:
    priors: Priors
    reference_age: float
    seed: int
    threshold: float
    tails: float | None


_Plan = list[tuple[Method, list[int], Codes]]


def _prepare(
    ratings: Columns,
    samples: Columns,
    settings: _Settings,
    attributes: Sequence[str] | None,
    features: Columns | None,
    extra_components: Iterable[str],
    method: Method,
) -> tuple[Task, _Plan, str]:
    """Read and check everything, and say how each attribute will be fitted."""
    tails, threshold, priors = settings.tails, settings.threshold, settings.priors
    if tails is not None and not tails > 2:
        raise InputError(f"tails: {tails!r} degrees of freedom have no variance; give 3 or more")
    if not 0.5 < threshold < 1:
        raise InputError(f"threshold: {threshold!r} must lie between 0.5 and 1, such as 0.9")
    described = read_samples(
        samples,
        reference_age=settings.reference_age,
        features=features,
        extra_components=extra_components,
    )
    given = read_ratings(ratings, described.names, attributes=attributes, scale=priors.scale)
    if not given.attributes:
        raise InputError("ratings: there is no row; rate at least one cup, or name attributes=")
    passes = len(given.passes) if len(given.passes) > 1 else 0
    layout = build_layout(described, np.unique(given.sample), passes)
    levels = sample_features(described, layout)
    plan: _Plan = []
    for which, rows in _groups(given):
        chosen = choose_method(given, rows[0]) if method == "auto" else method
        if chosen == "mode" and tails is not None:
            raise InputError("tails: heavy tails need method='integrated' and a smaller table")
        plan.append((chosen, which, rows))
    methods = [chosen for chosen, _, _ in plan]
    task = Task(given, described, layout, priors, settings.seed, levels)
    return task, plan, _digest(given, described, settings, methods)


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


def _digest(given: Ratings, described: Samples, settings: _Settings, methods: list[Method]) -> str:
    digest = hashlib.sha256()
    for thing in (MODEL_VERSION, settings, methods):
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
