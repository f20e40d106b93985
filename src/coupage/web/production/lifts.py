"""What to weigh into the blender: lifts of one size, whole steps of the scale, oldest batch first.

Pure arithmetic: no clock, no database.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

from coupage.errors import InputError
from coupage.table import weigh

__all__ = ["Draw", "Lifts", "plan_lifts"]

K = TypeVar("K", bound=Hashable)
S = TypeVar("S", bound=Hashable)


@dataclass(frozen=True, slots=True)
class Draw(Generic[K, S]):
    """So many grams of one component from one source into one lift (counted from 1)."""

    lift: int
    component: K
    source: S
    mass_g: int


@dataclass(frozen=True, slots=True)
class Lifts(Generic[K, S]):
    """A plan for the blender.

    Attributes
    ----------
    lifts
        How often the blender is filled.
    per_lift_g
        Grams of each component in one lift; every lift is alike.
    draws
        In the order of weighing. What no source gives is missing here and stands in ``short_g``.
    short_g
        Grams of each component that the sources do not give.
    """

    lifts: int
    per_lift_g: Mapping[K, int]
    draws: tuple[Draw[K, S], ...]
    short_g: Mapping[K, int]

    @property
    def total_g(self) -> int:
        return self.lifts * sum(self.per_lift_g.values())

    def planned_g(self) -> dict[S, int]:
        """Return grams by source, in order of first use."""
        found: dict[S, int] = {}
        for draw in self.draws:
            found[draw.source] = found.get(draw.source, 0) + draw.mass_g
        return found


def plan_lifts(
    shares_ppm: Mapping[K, int],
    total_g: int,
    *,
    blender_g: int,
    step_g: int,
    sources: Mapping[K, Sequence[tuple[S, int]]],
    rest: tuple[K, S, int] | None = None,
) -> Lifts[K, S]:
    """Plan the lifts of a run.

    Parameters
    ----------
    shares_ppm
        The recipe, parts per million that sum to a million.
    total_g, blender_g, step_g
        What is wanted, what the blender holds at most, by what the scale jumps.
    sources
        For each component the batches that may be used, in order of use, with grams on hand.
    rest
        What is left of an earlier run of the same blend: a component of its own, its source and
        grams on hand. It is spread evenly over the lifts.

    Raises
    ------
    InputError
        When a mass is not positive or one lift is smaller than a step of the scale.

    Examples
    --------
    >>> plan = plan_lifts({"a": 600_000, "b": 400_000}, 20_000, blender_g=10_000, step_g=10,
    ...     sources={"a": [(1, 7_005), (2, 9_000)], "b": [(3, 7_000)]})
    >>> plan.lifts, plan.per_lift_g, plan.planned_g(), plan.short_g
    (2, {'a': 6000, 'b': 4000}, {1: 7000, 3: 7000, 2: 5000}, {'b': 1000})
    """
    if min(total_g, blender_g, step_g) <= 0:
        raise InputError("the amount, the blender and the step of the scale must be above nothing")
    lifts = -(-total_g // blender_g)
    old_g = 0
    if rest is not None:
        old_g = min(rest[2] // lifts, total_g // lifts) // step_g * step_g
    new_g = total_g // lifts - old_g
    per_lift: dict[K, int] = {}
    if new_g >= step_g:
        keys = list(shares_ppm)
        weighing = weigh([shares_ppm[k] / 1_000_000 for k in keys], new_g, lifts, step_g)
        per_lift = {k: round(g) for k, g in zip(keys, weighing.grams.tolist(), strict=True) if g}
    elif old_g == 0:
        raise InputError(
            f"one lift of {total_g // lifts} g is less than a step of the scale, {step_g} g; "
            "use a finer scale or make more"
        )
    offered = {k: [(s, g) for s, g in sources.get(k, ())] for k in per_lift}
    if rest is not None and old_g:
        per_lift[rest[0]] = old_g
        offered[rest[0]] = [(rest[1], rest[2])]
    draws, short = _draw(per_lift, lifts, offered, step_g)
    return Lifts(lifts, per_lift, tuple(draws), short)


def _draw(
    per_lift: Mapping[K, int],
    lifts: int,
    offered: Mapping[K, list[tuple[S, int]]],
    step_g: int,
) -> tuple[list[Draw[K, S]], dict[K, int]]:
    """Empty the sources in their order; a lift may take from two of them."""
    sources = {k: [s for s, _ in found] for k, found in offered.items()}
    left = {k: [g // step_g * step_g for _, g in found] for k, found in offered.items()}
    draws: list[Draw[K, S]] = []
    short: dict[K, int] = {}
    for lift in range(1, lifts + 1):
        for component, wanted in per_lift.items():
            need = wanted
            for place, source in enumerate(sources[component]):
                take = min(need, left[component][place])
                if take > 0:
                    draws.append(Draw(lift, component, source, take))
                    left[component][place] -= take
                    need -= take
            if need:
                short[component] = short.get(component, 0) + need
    return draws, short
