"""Look at every recipe on the step, most of them only through a bound.

Cups (sets of k coffees) are taken in blocks, each with every composition. For each want in turn a
cheap upper bound of its chance is multiplied in; recipes whose product cannot reach the list any
more are dropped, and cups without a recipe left. What remains gets the sharper bound, then, want by
want, the exact chance. Nothing is dropped unless its chance is certainly below what the list
needs, so the list is the best of all recipes, not the best of a search.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from itertools import islice
from threading import Lock

import numpy as np
from numpy.typing import NDArray

from coupage.recipe.bounds import Event, Outlook
from coupage.recipe.brief import Brief
from coupage.recipe.desirability import desirability
from coupage.recipe.lattice import Lattice, cells, lattice, steepest
from coupage.recipe.limits import Limits
from coupage.recipe.posterior import Posterior
from coupage.recipe.ranking import Found, Front, Ranking

__all__ = ["Engine"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

_CELLS = 65_536
# Recipes between two reports of progress, and most cups whose windows are computed at once.
_REPORT = 4_000_000
_GROUP = 4_096
# A lattice of more compositions is looked at through the cells of one with this many steps.
_FINE, _COARSE = 20_000, 20
# Compositions of one cup at a time: few enough that their monomials stay in the cache.
_COLUMNS = 6_144
_SEED_CUPS = 16
# When the loose bound keeps more than this share, it is mostly left out.
_WASTE = 0.5
# What products of a few chances lose to rounding, generously.
_SLACK = 1e-9


@dataclass(slots=True)
class Engine:
    """One choice under way."""

    brief: Brief
    limits: Limits
    posteriors: dict[str, Posterior]
    events: list[Event]
    ranking: Ranking
    front: Front | None = None
    progress: Callable[[float], object] | None = None
    workers: int = 1
    considered: int = 0
    weighed: int = 0
    stopped: bool = False
    _bases: dict[int, int] = field(default_factory=dict)
    _blocks_seen: int = 0
    _loose_keeps: float = 0.0
    _lock: Lock = field(default_factory=Lock)

    def run(self) -> None:
        """Find the best recipes of all; ``stopped`` tells when ``progress`` ended it early."""
        cups = {k: self.limits.cups(k) for k in self.limits.sizes}
        total = 0
        for k, of_size in cups.items():
            self._bases[k] = total
            total += len(of_size) * self._lattice(k).total
        self._seed(cups)
        for done in self._groups_done(cups):
            self.considered += done
            if self.progress is not None and self.progress(self.considered / total) is False:
                self.stopped = self.considered < total
                return

    def _groups_done(self, cups: dict[int, Ints]) -> Iterator[int]:
        """Look at one group after the other; yield how many recipes each held."""
        groups = (
            (start, group)
            for k in reversed(cups)
            for start, group in _blocks(
                cups[k], max(self._lattice(k).total, _REPORT // _GROUP), _REPORT
            )
        )
        if self.workers == 1:
            for start, group in groups:
                yield self._group(start, group)
            return
        # Array work lets go of the interpreter, so threads share the cores.
        with ThreadPoolExecutor(self.workers) as pool:
            waiting = [pool.submit(self._group, *g) for g in islice(groups, 2 * self.workers)]
            try:
                while waiting:
                    yield waiting.pop(0).result()
                    waiting += [pool.submit(self._group, *g) for g in islice(groups, 1)]
            finally:
                for future in waiting:
                    future.cancel()

    def _lattice(self, k: int) -> Lattice:
        return lattice(k, self.limits.parts, self.limits.least)

    # --- seeds: good recipes early make the bounds bite ------------------------------------------

    def _seed(self, cups: dict[int, Ints]) -> None:
        """Weigh recipes that look best on a thin sample of compositions, and their neighbours."""
        looks: list[tuple[float, int, int]] = []
        chances: list[Floats] = []
        for k, of_size in cups.items():
            total = self._lattice(k).total
            sample = np.linspace(0, total - 1, 12 if total <= _FINE else 96)
            columns = np.unique(sample.astype(np.int64))
            thin = self._lattice(k).take(columns)
            for start, block in _blocks(of_size, len(columns), _CELLS):
                outlooks = [event.outlook(block, 0.0) for event in self.events]
                guess = self._guess(outlooks, block, thin)
                chances.append(guess.mean(axis=(1, 2)))
                best = guess.prod(axis=0).max(axis=1)
                leading = np.argsort(-best, kind="stable")[:_SEED_CUPS]
                looks += [(-best[i], k, start + i) for i in leading]
        # The want that most recipes fail goes first: it drops the most.
        order = np.argsort(np.mean(chances, axis=0), kind="stable")
        self.events = [self.events[i] for i in order]
        looks.sort()
        budget = 48 * _CELLS
        for _, k, place in looks[:_SEED_CUPS]:
            budget -= self._lattice(k).total
            if budget < 0:
                break
            self._seed_cup(cups[k][[place]], place)

    def _guess(self, outlooks: list[Outlook], block: Ints, lattice: Lattice) -> Floats:
        """Guessed chance of each want (events, n, m); 0 where not allowed."""
        guess = np.array(
            [e.guess(outlook, lattice) for e, outlook in zip(self.events, outlooks, strict=True)]
        )
        allowed = self.limits.allowed(block, lattice.steps)
        return guess if allowed is None else guess * allowed

    def _seed_cup(self, cup: Ints, place: int) -> None:
        lattice = self._lattice(cup.shape[1])
        outlooks = [event.outlook(cup, 0.0) for event in self.events]
        guess = self._guess(outlooks, cup, lattice).prod(axis=0)[0]
        wanted = [np.argsort(-guess, kind="stable")[: 2 * self.ranking.top]]
        if self.front is not None and self.limits.cost is not None:
            slices = np.digitize(lattice.shares @ self.limits.cost[cup[0]], self.front.edges[::16])
            by_chance = np.lexsort((-guess, slices))
            wanted.append(by_chance[np.flatnonzero(np.diff(slices[by_chance], prepend=-1))])
        columns = np.unique(np.concatenate(wanted))
        columns = columns[guess[columns] > 0]
        rows = np.zeros(len(columns), dtype=np.int64)
        left = _Left(cup, np.array([place]), outlooks, lattice, rows, columns)
        self._weigh(left, np.ones((len(self.events), len(columns))))

    # --- a group of cups -------------------------------------------------------------------------

    def _group(self, start: int, group: Ints) -> int:
        """Drop cups by their posterior means alone, then look at what is left; count recipes."""
        k = group.shape[1]
        lattice = self._lattice(k)
        outlooks = self._outlooks(group)
        may = np.ones(len(group), dtype=bool)
        for outlook in outlooks:
            may &= outlook.reachable(lattice)
        chosen = np.flatnonzero(may)
        size = 1 if lattice.total > _FINE else max(1, _CELLS // max(1, lattice.total))
        for first in range(0, len(chosen), size):
            some = chosen[first : first + size]
            here = [outlook.take(some) for outlook in outlooks]
            if lattice.total <= _FINE:
                self._block(group[some], start + some, here, lattice)
            else:
                columns = self._fine(k, here)
                for at in range(0, len(columns), _COLUMNS):
                    part = lattice.take(columns[at : at + _COLUMNS])
                    self._block(group[some], start + some, here, part)
        return len(group) * lattice.total

    def _outlooks(self, group: Ints) -> list[Outlook]:
        needed: float | Floats = self.ranking.needed
        if self.front is not None and self.limits.cost is not None:
            # The cheapest recipe of a cup needs the least chance to be on the front.
            costs = self.limits.cost[group]
            share = self.limits.least / self.limits.parts
            rest = 1 - share * group.shape[1]
            cheapest = share * costs.sum(axis=1) + rest * costs.min(axis=1)
            needed = np.minimum(needed, self.front.needed(cheapest))
        return [event.outlook(group, np.asarray(needed) - _SLACK) for event in self.events]

    def _fine(self, k: int, outlooks: list[Outlook]) -> Ints:
        """Compositions of one cup with means in every window, found through coarser cells."""
        coarse = cells(k, self.limits.parts, self.limits.least, _COARSE)
        chosen = np.ones(coarse.degree2.shape[1], dtype=bool)
        for outlook in outlooks:
            mean = (outlook.mean @ coarse.degree2)[0]
            slack = coarse.radius * steepest(outlook.mean, k)[0] + _SLACK
            chosen &= (mean >= outlook.low[0, 0] - slack) & (mean <= outlook.high[0, 0] + slack)
        columns = coarse.members(chosen)
        for outlook in outlooks:
            mean = (outlook.mean @ self._lattice(k).degree2[:, columns])[0]
            columns = columns[(mean >= outlook.low[0, 0]) & (mean <= outlook.high[0, 0])]
        return columns

    # --- a block ---------------------------------------------------------------------------------

    def _block(self, block: Ints, places: Ints, outlooks: list[Outlook], lattice: Lattice) -> None:
        mask = np.ones((len(block), len(lattice.steps)), dtype=bool)
        for outlook in outlooks:
            mask &= outlook.holds(lattice)
        allowed = self.limits.allowed(block, lattice.steps)
        if allowed is not None:
            mask &= allowed
        bounds: Floats | None = None
        before = np.count_nonzero(mask)
        self._blocks_seen += 1
        # Where nearly every mean is good and the doubt decides, the loose bound is a waste; a look
        # now and then tells when that has changed.
        if before and (self._loose_keeps < _WASTE or self._blocks_seen % 16 == 0):
            bounds = np.ones((len(self.events), *mask.shape))
            self._loosely(mask, bounds, block, outlooks, lattice)
            kept = np.count_nonzero(mask) / before
            self._loose_keeps += 0.2 * (kept - self._loose_keeps)
        rows, columns = np.nonzero(mask)
        left = _Left(block, places, outlooks, lattice, rows, columns)
        first = np.ones((len(self.events), len(rows)))
        self._sharpen(left, first if bounds is None else bounds[:, rows, columns])

    def _loosely(
        self,
        mask: Bools,
        bounds: Floats,
        block: Ints,
        outlooks: list[Outlook],
        lattice: Lattice,
    ) -> None:
        """Multiply in the loose bounds; take what they drop out of ``mask``."""
        needed = np.broadcast_to(self._needed(block, lattice), mask.shape)
        alive = np.flatnonzero(mask.any(axis=1))
        product = mask[alive] * 1.0
        for number, event in enumerate(self.events):
            bound = event.loose(outlooks[number].take(alive), lattice)
            bounds[number, alive] = bound
            product *= bound
            mask[alive] &= product + _SLACK >= needed[alive]
            still = mask[alive].any(axis=1)
            alive, product = alive[still], product[still]
            if not len(alive):
                return

    def _needed(self, block: Ints, lattice: Lattice) -> float | Floats:
        """Chance a recipe needs to matter: one for all, or by its cost for a front."""
        if self.front is None or self.limits.cost is None:
            return self.ranking.needed
        cost = self.limits.cost[block] @ lattice.shares.T
        return np.minimum(self.front.needed(cost), self.ranking.needed)

    def _sharpen(self, left: _Left, bounds: Floats) -> None:
        """Drop what the sharper bound can drop, then weigh the rest."""
        product = bounds.prod(axis=0)
        for number, event in enumerate(self.events):
            if event.posterior.parts == 1 or not len(left):
                continue
            used, local = np.unique(left.rows, return_inverse=True)
            outlook = left.outlooks[number].take(used)
            sharp = event.tight(left.block[used], outlook, left.lattice, local, left.columns)
            better = np.minimum(bounds[number], sharp)
            product *= better / np.maximum(bounds[number], 1e-300)
            bounds[number] = better
            keep = self._matters(left, product)
            left, bounds, product = left.take(keep), bounds[:, keep], product[keep]
        if self.ranking.saturated and len(left):
            keep = self.ranking.may_tie(
                self._desirability(left), self._cost(left), self._order(left)
            )
            if self.front is not None:
                keep |= product + _SLACK >= self.front.needed(self._cost(left))
            left, bounds = left.take(keep), bounds[:, keep]
        if len(left):
            self._weigh(left, bounds)

    def _matters(self, left: _Left, bound: Floats) -> Bools:
        keep = bound + _SLACK >= self.ranking.needed
        if self.front is not None:
            keep |= bound + _SLACK >= self.front.needed(self._cost(left))
        return np.asarray(keep)

    # --- exact -----------------------------------------------------------------------------------

    def _weigh(self, left: _Left, bounds: Floats) -> None:
        """Exact chance, want by want, of recipes whose bounds (events, s) still matter."""
        known = bounds.copy()
        for number, event in enumerate(self.events):
            known[number] = self._exact(event, left)
            keep = self._matters(left, known.prod(axis=0))
            left, known = left.take(keep), known[:, keep]
        if not len(left):
            return
        found = Found(
            chance=known.prod(axis=0),
            desirability=self._desirability(left),
            cost=self._cost(left),
            order=self._order(left),
            steps=self._steps(left),
        )
        with self._lock:
            self.weighed += len(left)
            self.ranking.add(found)
            if self.front is not None:
                self.front.add(found)

    def _exact(self, event: Event, left: _Left) -> Floats:
        lattice, chance = left.lattice, np.empty(len(left))
        used, starts = np.unique(left.rows, return_index=True)
        ends = np.append(starts[1:], len(left))
        size = max(1, _CELLS * 8 // (event.posterior.parts * lattice.degree4.shape[0]))
        for first in range(0, len(used), size):
            some = slice(first, first + size)
            quadratic, quartic = event.posterior.part_coefficients(left.block[used[some]])
            for n, (begin, end) in enumerate(zip(starts[some], ends[some], strict=True)):
                at = left.columns[begin:end]
                chance[begin:end] = event.exact(
                    quadratic[:, n] @ lattice.degree2[:, at],
                    quartic[:, n] @ lattice.degree4[:, at],
                )
        return chance

    def _desirability(self, left: _Left) -> Floats:
        powers = left.lattice.degree2.T[left.columns]
        means = {
            attribute: np.einsum(
                "sm,sm->s", posterior.mean_coefficients(left.block)[left.rows], powers
            )
            for attribute, posterior in self.posteriors.items()
        }
        return np.asarray(desirability(self.brief, means))

    def _cost(self, left: _Left) -> Floats:
        if self.limits.cost is None:
            return np.zeros(len(left))
        costs = self.limits.cost[left.block[left.rows]]
        return np.asarray((costs * left.lattice.shares[left.columns]).sum(axis=1))

    def _order(self, left: _Left) -> Ints:
        lattice = left.lattice
        base = self._bases[left.block.shape[1]]
        return np.asarray(
            base + left.places[left.rows] * lattice.total + lattice.numbers[left.columns]
        )

    def _steps(self, left: _Left) -> Ints:
        steps = np.zeros((len(left), len(self.limits.names)), dtype=np.int64)
        steps[np.arange(len(left))[:, None], left.block[left.rows]] = left.lattice.steps[
            left.columns
        ]
        return steps


@dataclass(frozen=True, slots=True, eq=False)
class _Left:
    """Recipes still in the race: composition ``columns[i]`` of cup ``rows[i]``, rows ascending.

    ``block`` (n, k) are the cups, ``places`` (n,) where they stand among all of their size, and
    ``outlooks`` how each want looks for them.
    """

    block: Ints
    places: Ints
    outlooks: list[Outlook]
    lattice: Lattice
    rows: Ints
    columns: Ints

    def __len__(self) -> int:
        return len(self.rows)

    def take(self, keep: Bools) -> _Left:
        return replace(self, rows=self.rows[keep], columns=self.columns[keep])


def _blocks(cups: Ints, width: int, cells: int) -> Iterator[tuple[int, Ints]]:
    size = max(1, cells // max(1, width))
    for start in range(0, len(cups), size):
        yield start, cups[start : start + size]
