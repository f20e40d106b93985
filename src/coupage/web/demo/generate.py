"""The demo's rows, drawn from its truth: no clock and no database.

``generate`` is a pure function of the scenario and the seed; it returns frozen rows whose days
count back from the day of loading.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from coupage.table import blind_codes, serving_orders
from coupage.web.demo.scenario import SCENARIO
from coupage.web.demo.shapes import BatchPlan, CuppingPlan, Scenario
from coupage.web.demo.truth import REFERENCE_AGE, Spreads, Truth, draw_truth

__all__ = [
    "SEED",
    "BatchRow",
    "CupRow",
    "Generated",
    "RatingRow",
    "ServingRow",
    "WordRow",
    "demo_truth",
    "generate",
    "panel_columns",
]

Floats = NDArray[np.float64]

# Chosen among the first 3,000 for a truth that makes a good first look: 14a and 21b are the same
# coffee, 14c is far from 14b, and the third Ropewalk meets its brief where the second does not.
SEED = 2725


@dataclass(frozen=True, slots=True)
class BatchRow:
    """What the operator wrote down; ``colour`` on the roastery's own scale."""

    batch: str
    version: int
    green_g: int
    roasted_g: int
    seconds: int
    first_crack_s: int
    end_temperature_c: float
    colour: float


@dataclass(frozen=True, slots=True)
class CupRow:
    cupping: str
    sample: str
    number: int
    code: str


@dataclass(frozen=True, slots=True)
class ServingRow:
    cupping: str
    taster: str
    code: str
    position: int


@dataclass(frozen=True, slots=True)
class RatingRow:
    cupping: str
    taster: str
    code: str
    pass_name: str
    attribute: str
    value: float


@dataclass(frozen=True, slots=True)
class WordRow:
    cupping: str
    taster: str
    code: str
    text: str


@dataclass(frozen=True, slots=True)
class Generated:
    """One draw of the demo: its truth and everything that was seen of it (which is compared)."""

    scenario: Scenario
    seed: int
    truth: Truth = field(compare=False)
    batches: tuple[BatchRow, ...]
    cups: tuple[CupRow, ...]
    servings: tuple[ServingRow, ...]
    ratings: tuple[RatingRow, ...]
    words: tuple[WordRow, ...]


def generate(
    *, scenario: Scenario = SCENARIO, seed: int = SEED, spreads: Spreads | None = None
) -> Generated:
    """Draw truth, batches, tables, ratings and words of a scenario.

    Each kind of row has a stream of chance of its own, so that another batch in the scenario
    does not change everybody's ratings.

    Examples
    --------
    >>> drawn = generate(seed=5)
    >>> drawn == generate(seed=5), drawn.ratings[0].value == drawn.ratings[0].value // 0.5 / 2
    (True, True)
    """
    streams = [np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(5)]
    truth = draw_truth(scenario, streams[0], spreads)
    cups: list[CupRow] = []
    servings: list[ServingRow] = []
    for cupping in scenario.cuppings:
        table = _table(cupping, streams[2])
        cups += table
        servings += _served(cupping, table, streams[2])
    draw = _Draw(scenario, truth, tuple(cups), tuple(servings))
    return Generated(
        scenario=scenario,
        seed=seed,
        truth=truth,
        batches=tuple(_roasted(scenario, plan, streams[1]) for plan in scenario.batches),
        cups=draw.cups,
        servings=draw.servings,
        ratings=tuple(draw.ratings(streams[3])),
        words=tuple(draw.words(streams[4])),
    )


def demo_truth(seed: int = SEED) -> Truth:
    """Return the truth behind the demo that is loaded with a seed."""
    return generate(seed=seed).truth


def _roasted(scenario: Scenario, plan: BatchPlan, rng: np.random.Generator) -> BatchRow:
    """A batch around its targets; a roast that goes further is darker, hotter and lighter."""
    number, target = scenario.version_on(plan.approach, plan.days_ago)
    further, colour, loss, heat, pace = rng.normal(size=5).tolist()
    seconds = round(target.seconds + 5.0 * further + 3.5 * pace + plan.fault.seconds)
    loss_pct = target.loss_pct + 0.16 * further + 0.08 * loss + plan.fault.loss_pct
    first = max(b.days_ago for b in scenario.batches)
    loss_pct -= scenario.lot_of[plan.approach].drying * (first - plan.days_ago)
    return BatchRow(
        batch=plan.key,
        version=number,
        green_g=target.charge_g,
        roasted_g=round(target.charge_g * (1 - loss_pct / 100) / 10) * 10,
        seconds=seconds,
        first_crack_s=round(seconds * (0.84 - 0.02 * scenario.approach[plan.approach].longer)),
        end_temperature_c=round(
            target.end_temperature_c + 0.35 * further + 0.25 * heat + plan.fault.end_temperature_c,
            1,
        ),
        colour=round(target.colour - 0.6 * further + 0.5 * colour + plan.fault.colour, 1),
    )


def _table(cupping: CuppingPlan, rng: np.random.Generator) -> list[CupRow]:
    cups = [(sample, n + 1) for sample, cups in cupping.cups.items() for n in range(cups)]
    codes = blind_codes(len(cups), rng=rng)
    return [CupRow(cupping.key, *cup, code) for cup, code in zip(cups, codes, strict=True)]


def _served(
    cupping: CuppingPlan, table: list[CupRow], rng: np.random.Generator
) -> Iterator[ServingRow]:
    orders = serving_orders(len(table), len(cupping.tasters), rng=rng)
    for taster, order in zip(cupping.tasters, orders, strict=True):
        for position, cup in enumerate(order.tolist(), start=1):
            yield ServingRow(cupping.key, taster, table[cup].code, position)


@dataclass(frozen=True, slots=True)
class _Draw:
    """Ratings and words at the tables of a scenario."""

    scenario: Scenario
    truth: Truth
    cups: tuple[CupRow, ...]
    servings: tuple[ServingRow, ...]

    def _intensity(self, cupping: CuppingPlan, sample: str) -> Floats:
        """Return what the model says of a sample at a table, before tasters and noise."""
        scenario, truth = self.scenario, self.truth
        keys = list(scenario.components)
        x = np.zeros(len(keys))
        extra = np.array(truth.cupping[cupping.key])
        for key, percent in scenario.sample[sample].parts.items():
            share, batch = percent / 100, scenario.batch[key]
            x[keys.index(batch.approach)] += share
            extra += share * truth.batch[key]
            extra += share * truth.age_slope * (age_days(cupping, batch) - REFERENCE_AGE)
        return truth.blended(x) + extra

    def _tasted(self) -> Iterator[tuple[CuppingPlan, ServingRow, str]]:
        """Go through what was tasted so far, each taster in the own order."""
        tables = {cupping.key: cupping for cupping in self.scenario.cuppings}
        sample = {(cup.cupping, cup.code): cup.sample for cup in self.cups}
        for serving in self.servings:
            cupping = tables[serving.cupping]
            share = cupping.filled[cupping.tasters.index(serving.taster)]
            if serving.position <= round(share * sum(cupping.cups.values())):
                yield cupping, serving, sample[serving.cupping, serving.code]

    def ratings(self, rng: np.random.Generator) -> Iterator[RatingRow]:
        truth = self.truth
        views: dict[tuple[str, str, str], Floats] = {}
        for cupping, serving, sample in self._tasted():
            key = (cupping.key, serving.taster, sample)
            if key not in views:
                views[key] = rng.normal(0.0, truth.spreads.view, len(truth.attributes))
            mean = self._intensity(cupping, sample) + truth.taster[serving.taster] + views[key]
            for name in self.scenario.protocol[cupping.protocol].passes:
                noise = rng.normal(0.0, truth.noise[serving.taster], len(truth.attributes))
                exact = mean + truth.passes[name] + noise
                for attribute, value in zip(truth.attributes, _half_points(exact), strict=True):
                    yield RatingRow(
                        cupping.key, serving.taster, serving.code, name, attribute, value
                    )

    def words(self, rng: np.random.Generator) -> Iterator[WordRow]:
        """Up to two words a cup, from what the lots in it are known for."""
        lots = {lot.key: lot for lot in self.scenario.lots}
        for cupping, serving, sample in self._tasted():
            parts = self.scenario.sample[sample].parts
            batches, shares = list(parts), np.array(list(parts.values())) / 100
            said: list[str] = []
            for _ in range(rng.choice(3, p=[0.45, 0.35, 0.2])):
                batch = self.scenario.batch[batches[rng.choice(len(batches), p=shares)]]
                words = lots[self.scenario.approach[batch.approach].lot].words
                # The first words of a lot are what it is known for.
                weights = np.arange(len(words), 0, -1.0)
                said.append(words[rng.choice(len(words), p=weights / weights.sum())])
            for text in dict.fromkeys(said):
                yield WordRow(cupping.key, serving.taster, serving.code, text)


def age_days(cupping: CuppingPlan, batch: BatchPlan) -> float:
    """Return the age of a batch at a table, in days."""
    return batch.days_ago - cupping.days_ago + (cupping.minute - batch.minute) / 1440


def _half_points(exact: Floats) -> list[float]:
    # Adding nothing turns a rounded -0.0 into 0.0.
    return [float(value) for value in np.clip(np.round(exact * 2) / 2, 0, 10) + 0.0]


def panel_columns(
    drawn: Generated,
) -> tuple[dict[str, list[str] | list[float]], dict[str, list[str] | list[float]]]:
    """Return the ratings and samples of the revealed tables as the panel model takes them."""
    scenario = drawn.scenario
    revealed = {c.key: c for c in scenario.cuppings if c.state == "revealed"}
    cup = {(c.cupping, c.code): c for c in drawn.cups}
    rows = [r for r in drawn.ratings if r.cupping in revealed]
    ratings: dict[str, list[str] | list[float]] = {
        "cupping": [r.cupping for r in rows],
        "taster": [r.taster for r in rows],
        "sample": [cup[r.cupping, r.code].sample for r in rows],
        "cup": [r.code for r in rows],
        "pass_name": [r.pass_name for r in rows],
        "attribute": [r.attribute for r in rows],
        "rating": [r.value for r in rows],
    }
    lots = {lot.key: lot.name for lot in scenario.lots}
    parts = [
        (sample, scenario.batch[batch], percent / 100, cupping)
        for cupping in revealed.values()
        for sample in cupping.cups
        for batch, percent in scenario.sample[sample].parts.items()
    ]
    samples: dict[str, list[str] | list[float]] = {
        "sample": [sample for sample, *_ in parts],
        "component": [scenario.components[batch.approach] for _, batch, *_ in parts],
        "lot": [lots[scenario.approach[batch.approach].lot] for _, batch, *_ in parts],
        "proportion": [share for _, _, share, _ in parts],
        "batch": [batch.key for _, batch, *_ in parts],
        "age_days": [age_days(cupping, batch) for _, batch, _, cupping in parts],
    }
    return ratings, samples
