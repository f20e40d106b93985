"""Roast numbers and tastes of batches as columns, freed of what sets their coffees apart."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from coupage.panel import Beliefs, batch_effects
from coupage.roast import Association, associations
from coupage.web.batches.models import Batch
from coupage.web.coffees.models import Approach

__all__ = ["NUMBERS", "Learned", "Number", "learn"]

Floats = NDArray[np.float64]
LEAST = 8


@dataclass(frozen=True, slots=True)
class Number:
    """A roast number: key, name, unit, decimals, and its value of a batch."""

    key: str
    name: str
    unit: str
    places: int
    value: Callable[[Batch], float | None]


def _development(batch: Batch) -> float | None:
    if batch.seconds is None or batch.first_crack_s is None:
        return None
    return float(batch.seconds - batch.first_crack_s)


NUMBERS = (
    Number(
        "seconds", "roast time", "s", 0,
        lambda b: None if b.seconds is None else float(b.seconds),
    ),
    Number("development", "time after first crack", "s", 0, _development),
    Number(
        "end", "end temperature", "°C", 1,
        lambda b: None if b.end_temperature_c is None else float(b.end_temperature_c),
    ),
    Number("colour", "colour", "", 1, lambda b: None if b.colour is None else float(b.colour)),
    Number(
        "loss", "loss", "points", 2,
        lambda b: None if b.roasted_g is None else 100 * (1 - b.roasted_g / b.green_g),
    ),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Learned:
    """What the batches of a roastery, or of one approach, say about an attribute.

    ``found`` is empty where there are too few; ``why_not`` then says so. ``left_out`` are numbers
    that were not written down often enough, or that move with another so closely that the two
    cannot be told apart.
    """

    attribute: str
    batches: int
    found: tuple[Association, ...]
    numbers: tuple[Number, ...]
    left_out: tuple[str, ...]
    why_not: str


def learn(beliefs: Beliefs, attribute: str, approach: Approach | None = None) -> Learned:
    """Estimate how an attribute goes with roast numbers, batch against sister batch.

    What a batch has that its sisters have not comes from the model of the table, which pulls it
    towards none; here it is taken as the tables said it, with its own doubt, so that it is pulled
    once and not twice.
    """
    taste = _as_tasted(beliefs, attribute)
    found = Batch.objects.filter(number__in=list(taste), void=False).select_related(
        "approach_version"
    )
    if approach is not None:
        found = found.filter(approach_version__approach=approach)
    batches = list(found.order_by("roasted_at", "id"))
    groups: defaultdict[tuple[int, str], list[Batch]] = defaultdict(list)
    for batch in batches:
        groups[batch.approach_version_id, batch.colour_scale].append(batch)
    kept = [b for group in groups.values() if len(group) > 1 for b in group]
    numbers = tuple(
        n for n in NUMBERS if kept and np.mean([n.value(b) is not None for b in kept]) > 0.8
    )
    kept = [b for b in kept if all(n.value(b) is not None for n in numbers)]
    if len(kept) < LEAST or not numbers:
        return Learned(
            attribute, len(kept), (), (), (),
            f"{len(kept)} tasted batches have sisters and all their numbers; it takes {LEAST}.",
        )  # fmt: skip
    within = [(b.approach_version_id, b.colour_scale) for b in kept]
    x = _centred(np.array([[n.value(b) for n in numbers] for b in kept], dtype=float), within)
    columns = [i for i in range(len(numbers)) if x[:, i].std() > 1e-9]
    y = _centred(np.array([[taste[b.number][0]] for b in kept]), within)[:, 0]
    se = np.array([taste[b.number][1] for b in kept])
    chosen = tuple(numbers[i] for i in columns)
    result = associations(x[:, columns], y, names=[n.name for n in chosen], error=se)
    out = tuple(n.name for n in NUMBERS if n not in chosen)
    return Learned(attribute, len(kept), result, chosen, out, "")


def _as_tasted(beliefs: Beliefs, attribute: str) -> dict[str, tuple[float, float]]:
    """Effect of each batch before it was pulled towards none, with its standard error."""
    if attribute not in beliefs.attributes:
        return {}
    part = beliefs.parts[beliefs.attributes.index(attribute)]
    between = part.doubt.mean_square("batch")
    found = {}
    for name, effects in batch_effects(beliefs).items():
        belief = effects[attribute]
        kept = 1 - belief.sd**2 / between if between > 0 else 0.0
        if kept > 0.05:
            found[name] = (belief.mean / kept, belief.sd / sqrt(kept))
    return found


def _centred(values: Floats, groups: list[tuple[int, str]]) -> Floats:
    out = values.copy()
    for group in set(groups):
        rows = np.array([g == group for g in groups])
        out[rows] -= out[rows].mean(axis=0)
    return out
