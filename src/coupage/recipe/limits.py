"""Which recipes are allowed at all: everything a choice must obey, in whole steps."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import combinations
from math import comb
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from coupage.errors import InfeasibleError, InputError
from coupage.recipe.brief import Brief
from coupage.recipe.lattice import compositions
from coupage.recipe.rounding import parts_of_step

if TYPE_CHECKING:
    from coupage.mixture import Region

__all__ = ["ONE_LASTS", "Limits", "gather_limits"]

ONE_LASTS = "at least one coffee that lasts"

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
PerCoffee = Mapping[str, float | int | Decimal]

_TOLERANCE = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Limits:
    """The limits of one choice, over c candidate coffees, counted in steps.

    Attributes
    ----------
    names : (c,)
    places : (c,) int
        Column of each candidate among the components of the beliefs.
    parts
        Steps in one blend.
    least
        Fewest steps of a coffee that is in the cup.
    most_coffees
        Most coffees in the cup.
    low, high : (c,) int
        Fewest and most steps of each coffee; 0 of a coffee with ``low`` 0 means it is left out.
    rows : (r, c), bounds : (r,)
        Linear limits ``rows @ x <= bounds`` over shares, and their words.
    exclusive
        Sets of candidates of which at most one may be in the cup.
    uses : (u, c), use_of : (c,) int
        Of the uses (what a share takes of something there is, 1 being all of it) at least one that
        the cup has a coffee of must be kept: ``uses[use_of[i]] @ x <= 1`` for a coffee i in it. No
        rows: no such limit.
    cost : (c,) or None
        Cost per roasted kilogram of each coffee; the cap is one of the rows.
    """

    names: tuple[str, ...]
    places: Ints
    parts: int
    least: int
    most_coffees: int
    low: Ints
    high: Ints
    rows: Floats
    bounds: Floats
    words: tuple[str, ...]
    exclusive: tuple[tuple[int, ...], ...]
    uses: Floats
    use_of: Ints
    cost: Floats | None

    def cups(self, k: int) -> Ints:
        """Every set of k candidates that may share a cup, (n, k), in lexicographic order."""
        must = np.flatnonzero(self.low > 0)
        able = np.flatnonzero(self.high >= np.maximum(self.low, self.least))
        if len(able) < k or not np.isin(must, able).all() or len(must) > k:
            return np.zeros((0, k), dtype=np.int64)
        n = comb(len(able), k)
        flat = (i for chosen in combinations(range(len(able)), k) for i in chosen)
        cups = able[np.fromiter(flat, dtype=np.int64, count=n * k).reshape(n, k)]
        fine = np.ones(n, dtype=bool)
        for i in must:
            fine &= (cups == i).any(axis=1)
        for group in self.exclusive:
            fine &= np.isin(cups, group).sum(axis=1) <= 1
        # Sharpest sums of bounds first: a cup that cannot add up to 1 holds no recipe.
        fine &= self.high[cups].sum(axis=1) >= self.parts
        fine &= np.maximum(self.low[cups], self.least).sum(axis=1) <= self.parts
        return np.asarray(cups[fine])

    def allowed(self, cups: Ints, steps: Ints) -> Bools | None:
        """Which compositions (m, k) each cup (n, k) may have, (n, m); None when all."""
        mask: Bools | None = None
        for j in range(cups.shape[1]):
            low, high = self.low[cups[:, j]], self.high[cups[:, j]]
            column = steps[:, j]
            if len(column) and (low.max() > column.min() or high.min() < column.max()):
                fine = (column >= low[:, None]) & (column <= high[:, None])
                mask = fine if mask is None else mask & fine
        for row, bound in zip(self.rows, self.bounds, strict=True):
            fine = row[cups] @ (steps.T / self.parts) <= bound + _TOLERANCE
            mask = fine if mask is None else mask & fine
        if len(self.uses):
            kept = self._keep_one(cups, steps)
            mask = kept if mask is None else mask & kept
        return mask

    def _keep_one(self, cups: Ints, steps: Ints) -> Bools:
        """Which compositions (m, k) of each cup (n, k) keep one of their uses, (n, m)."""
        kept = np.zeros((len(cups), len(steps)), dtype=bool)
        for j in range(cups.shape[1]):
            of = self.use_of[cups[:, j]]
            # A coffee without a use of its own cannot keep one.
            use = np.where((of >= 0)[:, None], self.uses[of[:, None], cups], 1e9)
            kept |= use @ (steps.T / self.parts) <= 1 + _TOLERANCE
        return kept

    @property
    def sizes(self) -> range:
        """Numbers of coffees that a cup may hold."""
        return range(1, min(self.most_coffees, len(self.names), self.parts // self.least) + 1)

    def count(self) -> int:
        """Recipes on the step before the limits on shares are looked at."""
        spare = [self.parts - k * self.least for k in self.sizes]
        per_cup = [comb(s + k - 1, k - 1) for k, s in zip(self.sizes, spare, strict=True)]
        return sum(comb(len(self.names), k) * n for k, n in zip(self.sizes, per_cup, strict=True))

    def hold_any(self) -> bool:
        """Whether any recipe is allowed."""
        for k in self.sizes:
            steps = compositions(k, self.parts, self.least)
            for cups in _slices(self.cups(k), len(steps)):
                mask = self.allowed(cups, steps)
                if len(cups) and len(steps) and (mask is None or mask.any()):
                    return True
        return False

    def refuse_if_empty(self) -> None:
        """Raise InfeasibleError with a smallest set of limits that clash."""
        if self.hold_any():
            return
        clashing = list(_relaxations(self))
        needed = dict(clashing)
        kept = self
        for text, relax in clashing:
            tried = relax(kept)
            if not tried.hold_any():
                kept = tried
                del needed[text]
        names = tuple(needed) or ("the step",)
        raise InfeasibleError(
            f"no recipe on steps of {100 / self.parts:g} % obeys these limits together: "
            f"{'; '.join(names)}. Loosen one of them",
            names,
        )


Relax = Callable[[Limits], Limits]


def _relaxations(limits: Limits) -> Iterator[tuple[str, Relax]]:
    """Each limit in words, and how to take it away."""
    wide = np.full(len(limits.names), limits.parts)

    def without_row(text: str) -> Relax:
        def relax(now: Limits) -> Limits:
            keep = [n for n, words in enumerate(now.words) if words != text]
            return replace(
                now,
                rows=now.rows[keep],
                bounds=now.bounds[keep],
                words=tuple(now.words[n] for n in keep),
            )

        return relax

    def share(i: int, low: int, high: int) -> Relax:
        def relax(now: Limits) -> Limits:
            lows, highs = now.low.copy(), now.high.copy()
            lows[i], highs[i] = min(lows[i], low), max(highs[i], high)
            return replace(now, low=lows, high=highs)

        return relax

    percent = 100 / limits.parts
    for text in limits.words:
        yield text, without_row(text)
    for i, name in enumerate(limits.names):
        if limits.low[i] > 0:
            yield f"at least {limits.low[i] * percent:g} % {name}", share(i, 0, 0)
        if limits.high[i] < wide[i]:
            yield (
                f"at most {limits.high[i] * percent:g} % {name}",
                share(i, limits.parts, limits.parts),
            )
    if limits.exclusive:
        yield "one approach per lot", lambda now: replace(now, exclusive=())
    if len(limits.uses):
        yield ONE_LASTS, lambda now: replace(now, uses=now.uses[:0])
    yield (
        f"at most {limits.most_coffees} coffees",
        lambda now: replace(now, most_coffees=len(now.names)),
    )
    if limits.least > 1:
        yield f"no coffee under {limits.least * percent:g} %", lambda now: replace(now, least=1)


def _slices(cups: Ints, width: int, cells: int = 500_000) -> Iterable[Ints]:
    size = max(1, cells // max(1, width))
    for start in range(0, len(cups), size):
        yield cups[start : start + size]


def gather_limits(
    brief: Brief,
    components: Sequence[str],
    *,
    step: float,
    region: Region | None = None,
    cost_per_kg: PerCoffee | None = None,
    stock_kg: PerCoffee | None = None,
    batch_kg: float | None = None,
    exclusive: Iterable[Iterable[str]] = (),
    one_lasts: Iterable[PerCoffee] = (),
) -> Limits:
    """Read every limit of a choice into steps; see :func:`coupage.recipe.choose`."""
    parts = parts_of_step(step)
    names = tuple(components) if region is None else tuple(region.names)
    place = {name: n for n, name in enumerate(components)}
    for name in names:
        if name not in place:
            raise InputError(
                f"region: {name!r} is not among the components of the beliefs "
                f"({', '.join(components)}); cup it, or take it out of the region"
            )
    low = np.zeros(len(names)) if region is None else np.asarray(region.lower, dtype=float)
    high = np.ones(len(names)) if region is None else np.asarray(region.upper, dtype=float)
    high = np.minimum(high, _stock_shares(names, stock_kg, batch_kg))
    cost = None if cost_per_kg is None else _per_coffee(names, cost_per_kg, "cost_per_kg")
    rows, bounds, words = _group_rows(names, region)
    if brief.cost_cap is not None:
        if cost is None:
            raise InputError(
                f"brief {brief.name!r}: it caps the cost at {brief.cost_cap:g}, so choose needs "
                "cost_per_kg="
            )
        rows, bounds = [*rows, cost], [*bounds, float(brief.cost_cap)]
        words = [*words, f"cost at most {brief.cost_cap:g} per kg"]
    uses, use_of = _uses(names, components, one_lasts)
    return Limits(
        names=names,
        places=np.array([place[name] for name in names], dtype=np.int64),
        parts=parts,
        least=max(1, int(np.ceil(brief.min_share * parts - _TOLERANCE))),
        most_coffees=brief.max_components,
        low=np.ceil(low * parts - _TOLERANCE).astype(np.int64),
        high=np.floor(high * parts + _TOLERANCE).astype(np.int64),
        rows=np.array(rows, dtype=float).reshape(len(rows), len(names)),
        bounds=np.array(bounds, dtype=float),
        words=tuple(words),
        exclusive=_exclusive_sets(names, components, region, exclusive),
        uses=uses,
        use_of=use_of,
        cost=cost,
    )


def _stock_shares(
    names: Sequence[str], stock_kg: PerCoffee | None, batch_kg: float | None
) -> Floats:
    """Most of each coffee that its roasted stock allows in ``batch_kg`` of blend."""
    if stock_kg is None:
        return np.ones(len(names))
    if batch_kg is None or not np.isfinite(batch_kg) or batch_kg <= 0:
        raise InputError(
            f"batch_kg: {batch_kg} must be the roasted kilograms wanted, more than 0, when "
            "stock_kg is given"
        )
    return _per_coffee(names, stock_kg, "stock_kg") / batch_kg


def _per_coffee(names: Sequence[str], values: PerCoffee, argument: str) -> Floats:
    missing = [name for name in names if name not in values]
    if missing:
        raise InputError(
            f"{argument}: nothing is given for {', '.join(map(repr, missing))}; add it"
        )
    numbers = np.array([float(values[name]) for name in names])
    wrong = np.flatnonzero(~np.isfinite(numbers) | (numbers < 0))
    if len(wrong):
        raise InputError(
            f"{argument}: {numbers[wrong[0]]} for {names[wrong[0]]!r} must be a finite number, "
            "0 or more"
        )
    return numbers


def _group_rows(
    names: Sequence[str], region: Region | None
) -> tuple[list[Floats], list[float], list[str]]:
    rows: list[Floats] = []
    bounds: list[float] = []
    words: list[str] = []
    for group in () if region is None else region.groups:
        row = np.array([float(group.coefficients.get(name, 0.0)) for name in names])
        said = group.name or " + ".join(n for n in names if n in group.coefficients)
        if np.isfinite(group.upper):
            rows, bounds = [*rows, row], [*bounds, float(group.upper)]
            words.append(f"at most {100 * group.upper:g} % {said}")
        if np.isfinite(group.lower):
            rows, bounds = [*rows, -row], [*bounds, -float(group.lower)]
            words.append(f"at least {100 * group.lower:g} % {said}")
    return rows, bounds, words


def _exclusive_sets(
    names: Sequence[str],
    components: Sequence[str],
    region: Region | None,
    exclusive: Iterable[Iterable[str]],
) -> tuple[tuple[int, ...], ...]:
    place = {name: n for n, name in enumerate(names)}
    sets = [tuple(dict.fromkeys(group)) for group in exclusive]
    for group in sets:
        for name in group:
            if name not in components:
                raise InputError(f"exclusive: {name!r} is not among the components of the beliefs")
    sets += [tuple(group) for group in (() if region is None else region.exclusive)]
    found = (tuple(place[name] for name in group if name in place) for group in sets)
    return tuple(group for group in found if len(group) > 1)


def _uses(
    names: Sequence[str], components: Sequence[str], one_lasts: Iterable[PerCoffee]
) -> tuple[Floats, Ints]:
    """Read what a share of each coffee uses of what there is: one row a set, and each one's row."""
    place = {name: n for n, name in enumerate(names)}
    rows: list[Floats] = []
    use_of = np.full(len(names), -1, dtype=np.int64)
    for uses in one_lasts:
        row = np.zeros(len(names))
        for name, use in uses.items():
            if name not in components:
                raise InputError(f"one_lasts: {name!r} is not among the components of the beliefs")
            if not float(use) >= 0:
                raise InputError(f"one_lasts: the use {use} of {name!r} must be 0 or more")
            if name in place:
                if use_of[place[name]] >= 0:
                    raise InputError(f"one_lasts: {name!r} stands in two sets; name it once")
                # What there is nothing of lasts with no share at all.
                row[place[name]] = min(float(use), 1e9)
                use_of[place[name]] = len(rows)
        rows.append(row)
    return np.array(rows).reshape(len(rows), len(names)), use_of
