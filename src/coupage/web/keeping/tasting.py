"""Ratings of batches as plain tables: for the classical tests, for cups, for ageing."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from coupage.difference import CupUniformity, Equivalence, cup_uniformity, equivalence
from coupage.errors import InputError
from coupage.panel import Belief, Beliefs, fit
from coupage.web.batches.models import Batch
from coupage.web.cuppings.columns import Columns, columns_of
from coupage.web.cuppings.models import Cupping, Rating

__all__ = ["AgeSeries", "CupsOf", "age_series", "classical", "cups_alike"]

Means = dict[tuple[int, int, int, str], float]  # batch, table, taster, attribute


@dataclass(frozen=True, slots=True)
class CupsOf:
    """Cups of one sample on one table, in one attribute."""

    batch: Batch
    table: Cupping
    attribute: str
    codes: tuple[str, ...]
    result: CupUniformity
    p_held: float


def _rows(batches: Iterable[Batch]) -> list[tuple[Any, ...]]:
    """Ratings of cups that hold one batch only, of revealed tables."""
    return list(
        Rating.objects.filter(
            cup__sample__kind="batch",
            cup__sample__parts__batch__in=list(batches),
            cup__cupping__state=Cupping.State.REVEALED,
            cup__cupping__void=False,
            attribute__kind="intensity",
        ).values_list(
            "cup__sample__parts__batch_id",
            "cup__cupping_id",
            "seat__taster_id",
            "attribute__name",
            "cup__code",
            "value",
        )
    )


def _means(rows: Iterable[tuple[Any, ...]]) -> Means:
    """Mean of a taster's ratings of a batch on a table, over its cups and passes."""
    found: defaultdict[tuple[int, int, int, str], list[float]] = defaultdict(list)
    for batch, table, taster, attribute, _, value in rows:
        found[batch, table, taster, attribute].append(float(value))
    return {key: float(np.mean(values)) for key, values in found.items()}


def classical(
    a: Batch, b: Batch, tolerances: Mapping[str, float], alpha: float
) -> dict[str, Equivalence | str]:
    """Hold two batches against each other by two one-sided tests, or say why that cannot be.

    Pairs are a taster's means of both at one table, so that tasters' and days' levels drop out.
    """
    means = _means(_rows([a, b]))
    found: dict[str, Equivalence | str] = {}
    for attribute, limit in tolerances.items():
        seats = sorted({key[1:3] for key in means if key[3] == attribute})
        both = [
            (means[a.pk, *seat, attribute], means[b.pk, *seat, attribute])
            for seat in seats
            if (a.pk, *seat, attribute) in means and (b.pk, *seat, attribute) in means
        ]
        if len(both) < 2:
            found[attribute] = "they stood on no table together with two tasters"
            continue
        first, second = zip(*both, strict=True)
        try:
            found[attribute] = equivalence(
                first, second, low=-limit, high=limit, alpha=alpha, paired=True
            )
        except InputError:
            found[attribute] = "all tasters gave the same difference, so it has no scatter"
    return found


def cups_alike(batches: Sequence[Batch]) -> list[CupsOf]:
    """Test whether the cups of each sample are alike, tables with two and more cups of it.

    ``p_held`` pays for all the questions asked here (Holm 1979).
    """
    by_key: defaultdict[tuple[int, int, str], defaultdict[str, dict[int, list[float]]]]
    by_key = defaultdict(lambda: defaultdict(lambda: defaultdict(list)))
    for batch, table, taster, attribute, code, value in _rows(batches):
        by_key[batch, table, attribute][code][taster].append(float(value))
    tables = {t.pk: t for t in Cupping.objects.filter(pk__in={key[1] for key in by_key})}
    of = {batch.pk: batch for batch in batches}
    found = []
    for (batch, table, attribute), cups in sorted(by_key.items()):
        codes = sorted(cups)
        tasters = set.intersection(*(set(cups[code]) for code in codes))
        if len(codes) < 2 or len(tasters) < 2:
            continue
        grid = [[float(np.mean(cups[code][t])) for t in sorted(tasters)] for code in codes]
        result = cup_uniformity(grid)
        found.append(CupsOf(of[batch], tables[table], attribute, tuple(codes), result, 1.0))
    return _held(found)


def _held(found: list[CupsOf]) -> list[CupsOf]:
    order = sorted(range(len(found)), key=lambda i: found[i].result.p)
    running, held = 0.0, [1.0] * len(found)
    for place, i in enumerate(order):
        running = max(running, min(1.0, found[i].result.p * (len(found) - place)))
        held[i] = running
    return [replace(one, p_held=p) for one, p in zip(found, held, strict=True)]


@dataclass(frozen=True, slots=True)
class AgeSeries:
    """How a batch tasted at each age: ages in days, tables, and beliefs by component name."""

    ages: tuple[float, ...]
    tables: tuple[Cupping, ...]
    names: tuple[str, ...]
    beliefs: Beliefs
    slope: Mapping[str, Belief]

    def profile(self, i: int) -> dict[str, Belief]:
        """Return the beliefs at one of the ages."""
        return self.beliefs.profile({self.names[i]: 1.0})


def age_series(batch: Batch) -> AgeSeries | None:
    """Fit how a batch tasted at each age; None until it was tasted at two.

    Each age stands as a coffee of its own among whatever else was on those tables: the tasters'
    levels are common, and so is the lot, so that ages lean on each other.
    """
    held = Cupping.objects.filter(
        void=False,
        state=Cupping.State.REVEALED,
        cups__sample__kind="batch",
        cups__sample__parts__batch=batch,
    ).distinct()
    tables = sorted(held, key=lambda t: t.held_at)
    ages = [(t.held_at - batch.roasted_at).total_seconds() / 86_400 for t in tables]
    if len({round(age) for age in ages}) < 2:
        return None
    columns = columns_of(Cupping.objects.filter(pk__in=[t.pk for t in tables]))
    apart, names = _apart(columns, batch)
    beliefs = fit(apart.ratings, apart.samples)
    slope = fit(columns.ratings, columns.samples).age_slope()
    firsts: dict[str, int] = {}
    for i, age in enumerate(ages):
        name = _age_name(batch, age)
        if name in names:
            firsts.setdefault(name, i)
    kept = list(firsts.values())
    return AgeSeries(
        tuple(ages[i] for i in kept),
        tuple(tables[i] for i in kept),
        tuple(firsts),
        beliefs,
        slope,
    )


def _age_name(batch: Batch, age: float) -> str:
    own = str(batch.approach_version.approach)
    return f"{own}, day {max(0.0, age):.0f}"


def _apart(columns: Columns, batch: Batch) -> tuple[Columns, list[str]]:
    """The same tables with every batch as a coffee of its own, this one at each age.

    What is asked is how this very batch changed, so a batch's own difference belongs to it and is
    no doubt; the column of batches, and with it that doubt, is left out.
    """
    samples = {name: column.copy() for name, column in columns.samples.items() if name != "batch"}
    own = columns.samples["batch"] == batch.number
    whole = own & (samples["proportion"] > 0.999)
    named = [
        _age_name(batch, float(age)) if this else f"{component}, {number}"
        for component, number, age, this in zip(
            samples["component"], columns.samples["batch"], samples["age_days"], whole, strict=True
        )
    ]
    samples["component"] = np.array(named, dtype=str)
    # Its age is in its name now; the slope of the others stays theirs.
    samples["age_days"] = np.where(whole, 7.0, samples["age_days"].astype(float))
    names = list(dict.fromkeys(n for n, this in zip(named, whole, strict=True) if this))
    return Columns(columns.ratings, samples), names
