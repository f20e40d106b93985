"""Numbers of an approach on a machine, batch after batch, as charts take them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import sqrt

from django.db.models import QuerySet
from django.utils import timezone

from coupage.panel import Beliefs, batch_effects
from coupage.web.batches.models import Batch, Machine
from coupage.web.coffees.models import Approach, ApproachVersion
from coupage.web.keeping.models import Baseline

__all__ = [
    "LEAST",
    "MEASURES",
    "Measure",
    "Pair",
    "Series",
    "baseline_of",
    "batches_of",
    "pairs",
    "series_of",
    "taste_series",
]

LEAST = 5  # batches below which no limit means anything


@dataclass(frozen=True, slots=True)
class Measure:
    """One number of a batch: its name, unit, decimals, value, and what the approach aims at."""

    key: str
    name: str
    unit: str
    places: int
    value: Callable[[Batch], float | None]
    aim: Callable[[ApproachVersion], float | None]
    within: Callable[[ApproachVersion], float]


@dataclass(frozen=True, slots=True)
class Series:
    """A measure over batches in order of roasting, moved to today's target.

    ``center`` and ``sigma`` are given where they are known beforehand, else the first ``baseline``
    values set them.
    """

    key: str
    name: str
    unit: str
    places: int
    batches: tuple[Batch, ...]
    values: tuple[float, ...]
    wanted: tuple[float | None, float | None]
    baseline: int
    center: float | None = None
    sigma: float | None = None


@dataclass(frozen=True, slots=True)
class Pair:
    """An approach on a machine: its batches since its baseline, oldest first."""

    approach: Approach
    machine: Machine | None
    baseline: Baseline | None
    batches: tuple[Batch, ...]


def _loss(batch: Batch) -> float | None:
    return None if batch.roasted_g is None else 100 * (1 - batch.roasted_g / batch.green_g)


def _colour(batch: Batch) -> float | None:
    # Another scale, or none to aim at: such a colour stands beside no other.
    scale = batch.approach_version.colour_scale
    same = not scale or batch.colour_scale == scale
    return float(batch.colour) if batch.colour is not None and same else None


def _float(value: object) -> float | None:
    return None if value is None else float(value)  # type: ignore[arg-type]


MEASURES = (
    Measure(
        "loss", "loss", "%", 2, _loss,
        lambda v: _float(v.loss_pct), lambda v: float(v.loss_tolerance_pct),
    ),
    Measure(
        "colour", "colour", "", 1, _colour,
        lambda v: _float(v.colour), lambda v: float(v.colour_tolerance),
    ),
    Measure(
        "time", "roast time", "s", 0, lambda b: _float(b.seconds),
        lambda v: _float(v.seconds), lambda v: float(v.seconds_tolerance),
    ),
    Measure(
        "temperature", "end temperature", "°C", 1, lambda b: _float(b.end_temperature_c),
        lambda v: _float(v.end_temperature_c), lambda v: float(v.end_temperature_tolerance_c),
    ),
)  # fmt: skip


def pairs() -> list[Pair]:
    """Return every approach in use on every machine it was roasted on, most batches first."""
    rows = (
        Batch.objects.filter(void=False, approach_version__approach__archived=False)
        .select_related("approach_version__approach__lot", "machine")
        .order_by("roasted_at", "id")
    )
    baselines: dict[tuple[int, int | None], Baseline] = {}
    for baseline in Baseline.objects.select_related("by").order_by("since", "id"):
        baselines[baseline.approach_id, baseline.machine_id] = baseline
    found: dict[tuple[int, int | None], list[Batch]] = {}
    for batch in rows:
        found.setdefault((batch.approach_version.approach_id, batch.machine_id), []).append(batch)
    made = []
    for key, batches in found.items():
        kept = baselines.get(key)
        since = [
            b
            for b in batches
            if kept is None or timezone.localtime(b.roasted_at).date() >= kept.since
        ]
        newest = batches[-1]
        made.append(Pair(newest.approach_version.approach, newest.machine, kept, tuple(since)))
    return sorted(made, key=lambda p: (-len(p.batches), str(p.approach), str(p.machine)))


def baseline_of(approach: Approach, machine: Machine | None) -> Baseline | None:
    """Return the newest decision from where charts begin; None: from the first batch."""
    return Baseline.objects.filter(approach=approach, machine=machine).select_related("by").first()


def batches_of(
    approach: Approach, machine: Machine | None, since: dt.date | None
) -> QuerySet[Batch]:
    """Return the batches that charts show, oldest first. Held ones too: they happened."""
    found = Batch.objects.filter(
        approach_version__approach=approach, machine=machine, void=False
    ).select_related("approach_version__approach__lot")
    if since is not None:
        found = found.filter(roasted_at__date__gte=since)
    return found.order_by("roasted_at", "id")


def series_of(measure: Measure, batches: Sequence[Batch], size: int) -> Series:
    """Return a measure of some batches. Older versions' values move with the target.

    A roast that hits its own target lies where today's target is, so that a decision to roast
    further is no signal.
    """
    newest = batches[-1].approach_version if batches else None
    aim_now = measure.aim(newest) if newest else None
    there, values = [], []
    for batch in batches:
        value = measure.value(batch)
        if value is None:
            continue
        aim = measure.aim(batch.approach_version)
        moved = 0.0 if aim is None or aim_now is None else aim_now - aim
        there.append(batch)
        values.append(value + moved)
    wanted: tuple[float | None, float | None] = (None, None)
    if newest is not None and aim_now is not None:
        within = measure.within(newest)
        wanted = (aim_now - within, aim_now + within)
    name = measure.name
    if measure.key == "colour" and newest is not None and newest.colour_scale:
        name = f"colour ({newest.colour_scale})"
    return Series(
        measure.key,
        name,
        measure.unit,
        measure.places,
        tuple(there),
        tuple(values),
        wanted,
        min(size, len(values)),
    )


def taste_series(
    attribute: str, batches: Sequence[Batch], beliefs: Beliefs | None
) -> Series | None:
    """Return what each batch tastes of beyond its sisters, in standard deviations.

    The estimate of an effect is pulled towards none, the more the fewer cups there were. Its own
    standard deviation when nothing is wrong is therefore sqrt(sd of batches² - doubt²), and the
    estimate over that has centre 0 and standard deviation 1 whatever was tasted.
    """
    if beliefs is None or attribute not in beliefs.attributes:
        return None
    effects = batch_effects(beliefs)
    part = beliefs.parts[beliefs.attributes.index(attribute)]
    between = part.doubt.mean_square("batch")
    there, values = [], []
    for batch in batches:
        belief = effects.get(batch.number, {}).get(attribute)
        if belief is None:
            continue
        learned = between - belief.sd**2
        if learned <= 0.02 * between:
            continue  # hardly tasted: the chart would show noise
        there.append(batch)
        values.append(belief.mean / sqrt(learned))
    return Series(
        f"taste-{attribute}",
        attribute,
        "sd",
        1,
        tuple(there),
        tuple(values),
        (None, None),
        len(values),
        center=0.0,
        sigma=1.0,
    )
