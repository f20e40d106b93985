"""Beliefs of attributes that were rated on the same cups, integrated or around the mode."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from coupage.panel.beliefs import Beliefs
from coupage.panel.columns import Ratings, Samples
from coupage.panel.conditional import condense
from coupage.panel.design import Layout, build_terms
from coupage.panel.heavy_tails import weighted_table
from coupage.panel.importance import Draws, integrate
from coupage.panel.marginal import Table, reduce_table
from coupage.panel.mode import Start, find_mode
from coupage.panel.modepart import ModePart, biases, doubt_at_mode
from coupage.panel.parts import Doubt, IntegratedPart, Part, TasterFacts
from coupage.panel.priors import Priors, from_normal
from coupage.panel.system import build_system
from coupage.panel.tasting import agreement, signal

__all__ = ["INTEGRATED_LIMIT", "Method", "Task", "around_mode", "choose_method", "integrated"]

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
Method = Literal["auto", "integrated", "mode"]

INTEGRATED_LIMIT = 150
# Up to so many coefficients their covariance is formed once, so that every later question is a
# small product; beyond, covariances are solved for when asked.
WHOLE_LIMIT = 400


@dataclass(frozen=True, slots=True)
class Task:
    """What all attributes share; ``levels`` (S, t) as in :func:`sample_features`."""

    given: Ratings
    described: Samples
    layout: Layout
    priors: Priors
    seed: int
    levels: sparse.csr_array

    def facts(
        self, rows: Codes, coefficients: Floats, mean: Floats, sd: Floats, agreed: Floats
    ) -> TasterFacts:
        taster, count = self.given.taster[rows], len(self.given.tasters)
        level = self.levels[self.given.sample[rows]] @ coefficients
        return TasterFacts(
            ratings=np.bincount(taster, minlength=count).astype(np.float64),
            bias_mean=mean,
            bias_sd=sd,
            signal=signal(level, taster, count),
            agreement=agreed,
        )


def choose_method(given: Ratings, rows: Codes) -> Method:
    """Integrate while the directions that the terms can span are few enough."""
    cells = len(np.unique(given.sample[rows] * len(given.cuppings) + given.cupping[rows]))
    own = given.taster[rows] * (int(given.sample.max(initial=0)) + 1) + given.sample[rows]
    pairs = len(np.unique(own))
    views = pairs if pairs < len(rows) else 0
    span = min(len(rows), cells + len(given.tasters) + len(given.passes) + views)
    return "integrated" if span <= INTEGRATED_LIMIT else "mode"


def integrated(
    task: Task, which: list[int], rows: Codes, tails: float | None
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
    out, agreed = {}, agreement(given, rows)
    for i, (a, (table, place, drawn)) in enumerate(zip(which, tables, strict=True)):
        part = _part(table, place, drawn, task.layout, priors, task.seed, len(given.tasters))
        bias = part.tasters
        coefficients = part.weights @ part.means
        facts = task.facts(rows[i], coefficients, bias.bias_mean, bias.bias_sd, agreed[i])
        out[a] = replace(part, tasters=facts)
    return out


def around_mode(
    task: Task, which: list[int], rows: Codes, start: Beliefs | None
) -> Iterator[tuple[int, Part]]:
    """One attribute after the other, each long enough for a reader to wait for."""
    given, priors = task.given, task.priors
    terms = build_terms(given, task.described, task.layout, priors, rows[0])
    system = build_system(terms, given, rows[0])
    shift = np.zeros(task.layout.size)
    shift[: task.layout.components] = priors.mean
    taster = system.slices[system.names.index("taster")]
    agreed = agreement(given, rows)
    first: Start | None = None
    for i, a in enumerate(which):
        before = _earlier(start, given.attributes[a], given.tasters) or first
        mode = find_mode(system, given.rating[rows[i]], priors, start=before, seed=task.seed)
        # Attributes of one table are much alike: where the first search ended the others begin.
        first = first or mode.as_start(system)
        doubt = doubt_at_mode(mode, system, priors)
        effects = np.mean([point.effects for point in mode.points], axis=0)
        coefficients = shift + system.target @ effects
        facts = task.facts(rows[i], coefficients, *biases(mode, taster), agreed[i])
        pairing = doubt.names.index("pairing")
        unit = from_normal(np.array([point.v[pairing] for point in mode.points]))
        part = ModePart(mode.points, shift, np.square(priors.pairing * unit), doubt, facts)
        few = task.layout.size <= WHOLE_LIMIT
        yield a, part.restrict(np.arange(task.layout.size)) if few else part


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
