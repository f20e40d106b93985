"""The best recipes found so far, and what another one must beat."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

__all__ = ["Found", "Front", "Ranking"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# Desirabilities and costs closer than this are the same; rounding noise must not order recipes.
_SAME = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """Recipes whose chance is known exactly, s of them.

    Attributes
    ----------
    chance, desirability, cost : (s,)
    order : (s,) int
        Place in the enumeration: fewer coffees first, then the order of the candidates.
    steps : (s, c) int
        Whole steps of every candidate.
    """

    chance: Floats
    desirability: Floats
    cost: Floats
    order: Ints
    steps: Ints

    def __len__(self) -> int:
        return len(self.order)

    def take(self, rows: Ints | Bools) -> Found:
        return Found(
            self.chance[rows],
            self.desirability[rows],
            self.cost[rows],
            self.order[rows],
            self.steps[rows],
        )

    def joined(self, other: Found) -> Found:
        return Found(
            np.concatenate([self.chance, other.chance]),
            np.concatenate([self.desirability, other.desirability]),
            np.concatenate([self.cost, other.cost]),
            np.concatenate([self.order, other.order]),
            np.concatenate([self.steps, other.steps]),
        )

    @classmethod
    def none(cls, candidates: int) -> Found:
        empty = np.zeros(0)
        whole = np.zeros(0, dtype=np.int64)
        return cls(empty, empty, empty, whole, np.zeros((0, candidates), dtype=np.int64))


@dataclass(slots=True)
class Ranking:
    """The ``top`` best: by chance, then desirability, then cost, then order.

    Chances are compared as multiples of ``same``: two recipes closer than that may tie, and then
    desirability decides.
    """

    top: int
    same: float
    found: Found

    def add(self, other: Found) -> None:
        both = self.found.joined(other)
        _, first = np.unique(both.order, return_index=True)
        both = both.take(first)
        self.found = both.take(np.lexsort(self._keys(both))[: self.top])

    def _keys(self, found: Found) -> tuple[Floats | Ints, ...]:
        return (
            found.order,
            np.rint(found.cost / _SAME),
            -np.rint(found.desirability / _SAME),
            -np.rint(found.chance / self.same),
        )

    @property
    def full(self) -> bool:
        return len(self.found) >= self.top

    @property
    def needed(self) -> float:
        """A recipe whose chance is certainly lower than this cannot enter the list."""
        if not self.full:
            return 0.0
        return float((np.rint(self.found.chance[-1] / self.same) - 0.5) * self.same) - 1e-12

    @property
    def saturated(self) -> bool:
        """The last of the list is as good as certain: only the other keys can still decide."""
        return self.full and bool(self.found.chance[-1] >= 1 - self.same)

    def may_tie(self, desirability: Floats, cost: Floats, order: Ints) -> Bools:
        """Which recipes would enter a saturated list if their chance were 1."""
        last = self.found.take(np.array([len(self.found) - 1]))
        if np.rint(last.chance[0] / self.same) < np.rint(1 / self.same):
            return np.ones(len(order), dtype=bool)
        d = np.rint(desirability / _SAME) - np.rint(last.desirability[0] / _SAME)
        c = np.rint(cost / _SAME) - np.rint(last.cost[0] / _SAME)
        return np.asarray((d > 0) | ((d == 0) & ((c < 0) | ((c == 0) & (order <= last.order[0])))))


@dataclass(slots=True)
class Front:
    """Recipes that no other beats in both chance and cost.

    ``edges`` cut the range of costs; ``needed`` tells, for each slice, the chance that a recipe in
    it must exceed because a recipe at least as cheap has it already.
    """

    edges: Floats
    found: Found
    stairs: Floats = field(init=False)

    def __post_init__(self) -> None:
        self.stairs = np.zeros(len(self.edges))

    @classmethod
    def over(cls, lowest: float, highest: float, candidates: int) -> Front:
        return cls(np.linspace(lowest, max(highest, lowest + 1e-9), 513), Found.none(candidates))

    def add(self, other: Found) -> None:
        both = self.found.joined(other)
        keys = (both.order, -both.desirability, -both.chance, np.rint(both.cost / _SAME))
        both = both.take(np.lexsort(keys))
        before = np.concatenate([[-1.0], np.maximum.accumulate(both.chance)[:-1]])
        self.found = both.take(both.chance > before + _SAME)
        # Cheaper than the edge: certainly no dearer than a recipe in the slice above it.
        reach = np.searchsorted(self.found.cost, self.edges, side="right")
        best = np.concatenate([[0.0], self.found.chance])
        self.stairs = best[reach]

    def needed(self, cost: Floats) -> Floats:
        width = self.edges[1] - self.edges[0]
        slices = np.floor((cost - self.edges[0]) / width - 1e-9).astype(np.int64)
        return np.asarray(self.stairs[np.clip(slices, 0, len(self.edges) - 1)])
