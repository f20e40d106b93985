"""From a recipe to its successor, step by step, so that nobody tastes a jump and old stock is used.

Each period has a recipe. From one to the next no attribute moves by more than its tolerance; what
leaves the blend never comes back, what comes never goes; the last recipe is the new one. Among all
such ways the one that leaves least of the ending lots, then changes the recipe on the fewest
occasions, then moves most evenly. Intensities of a blend are taken as the mean of its parts by
share, which is a model and no law: cup a step before it is served.

References
----------
.. [1] Cornell, J. A., Experiments with Mixtures, 3rd ed., Wiley, 2002, chapter 2: the linear
   (first-degree) mixture model.
.. [2] Ehrgott, M., Multicriteria Optimization, 2nd ed., 2005, chapter 5: lexicographic optimality.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from coupage.errors import InputError
from coupage.plan.program import Columns, Program

__all__ = ["Cutover", "cutover"]

Floats = NDArray[np.float64]
Recipe = Mapping[str, float]
_SMALL = 1e-9


@dataclass(frozen=True, slots=True)
class Cutover:
    """The way from one recipe to the next.

    Attributes
    ----------
    recipes
        One for each period, in order; the last is the new one.
    changes
        Periods, counted from 1, whose recipe differs from the one before.
    leftover_kg
        Ending component: green that stays unused.
    used_kg
        Component: green used over all periods.
    largest_step
        Attribute: its largest move from one period to the next, in units of its tolerance.
    status
        ``"optimal"``, ``"stopped"`` (best so far), or ``"impossible"``: there is no such way within
        the tolerances and the stock. The recipes are then the way with the smallest largest step,
        if stock allows any; see ``largest_step``.
    gap
        Largest proven relative gap among the goals.
    """

    recipes: tuple[dict[str, float], ...]
    changes: tuple[int, ...]
    leftover_kg: dict[str, float]
    used_kg: dict[str, float]
    largest_step: dict[str, float]
    status: Literal["optimal", "stopped", "impossible"]
    gap: float = 0.0
    short_of: tuple[str, ...] = field(default=())

    def sentence(self) -> str:
        """Say when to change, and what is left."""
        if self.short_of:
            return f"There is not enough of {', '.join(self.short_of)} for any way there."
        if not self.recipes:
            return "No way was found in time."
        if self.status == "impossible":
            name, step = max(self.largest_step.items(), key=lambda pair: pair[1])
            return (
                f"There is no way without a jump: {name} has to move by {step:.1f} times its "
                "tolerance at once."
            )
        count = len(self.changes)
        periods = ", ".join(str(t) for t in self.changes)
        steps = "No change" if not count else "One step" if count == 1 else f"{count} steps"
        when = f" in period {periods}" if count == 1 else f" in periods {periods}" if count else ""
        left = sum(self.leftover_kg.values())
        over = f"; {left:.1f} kg of the ending stock are left" if left > 0.05 else ""
        return f"{steps}{when}{over}."


def cutover(
    old: Recipe,
    new: Recipe,
    profiles: Mapping[str, Mapping[str, float]],
    tolerance: float | Mapping[str, float],
    *,
    demand_kg: Sequence[float],
    stock_kg: Mapping[str, float] | None = None,
    losses: Mapping[str, float] | None = None,
    free: Collection[str] = (),
    step: float | None = 0.01,
    gap: float = 1e-4,
    seconds: float = 20.0,
) -> Cutover:
    """Plan the recipes of the coming periods on the way from an old recipe to a new one.

    Parameters
    ----------
    old, new
        Component: share of the roasted mass. Components of the old one that the new one lacks are
        ending.
    profiles
        Component: attribute: mean intensity.
    tolerance
        The difference in an attribute that is called the same; one number, or one for each.
    demand_kg
        Roasted kilograms of the blend in each period (day, week); T periods. The last period must
        be served by the new recipe.
    stock_kg
        Component: green on hand for this blend; a component not named is not limited.
    losses
        Component: loss in roasting, as a fraction; without it stock is roasted kilograms.
    free
        Components that may move either way, to balance the taste.
    step
        Shares are whole multiples of this; None lets any share come out.
    gap, seconds
        Relative gap to which each goal is proven, and the longest time to search.

    Returns
    -------
    Cutover
        One recipe for each period.

    Raises
    ------
    InputError
        When an argument cannot be used.

    Examples
    --------
    Body falls by 1.2 in all, at most 0.5 at a time: three steps, which use the 30 kg up.

    >>> from coupage.plan import cutover
    >>> way = cutover(
    ...     {"ending": 0.4, "base": 0.6},
    ...     {"next": 0.4, "base": 0.6},
    ...     {"ending": {"body": 7.0}, "next": {"body": 4.0}, "base": {"body": 5.0}},
    ...     0.5,
    ...     demand_kg=[50.0] * 4,
    ...     stock_kg={"ending": 30.0},
    ... )
    >>> [round(r["ending"], 2) for r in way.recipes], way.leftover_kg["ending"] < 0.01
    ([0.25, 0.25, 0.1, 0.0], True)
    """
    way = _read(old, new, profiles, tolerance, demand_kg, stock_kg, losses, free, step)
    short = _short_of(way)
    if short:
        return Cutover((), (), {}, {}, {}, "impossible", np.inf, short)
    model = _build(way, strict=True)
    outcome = model.program.solve(model.goals(), gap=gap, seconds=seconds)
    if outcome.x is not None:
        return _plan(way, model, outcome.x, outcome.status, outcome.gap)
    if outcome.status == "stopped":
        return Cutover((), (), {}, {}, {}, "stopped", np.inf)
    model = _build(way, strict=False)
    goals = [model.program.vector((model.worst, 1.0)), *model.goals()]
    outcome = model.program.solve(goals, gap=max(gap, 1e-3), seconds=seconds)
    if outcome.x is None:
        return Cutover((), (), {}, {}, {}, "impossible", np.inf, ("the components",))
    return _plan(way, model, outcome.x, "impossible", outcome.gap)


@dataclass(slots=True)
class _Way:
    """The arguments as arrays: Q components, T periods, A attributes."""

    names: tuple[str, ...]
    attributes: tuple[str, ...]
    old: Floats  # (Q,)
    new: Floats
    taste: Floats  # (A, Q) in units of the tolerance
    demand: Floats  # (T,)
    stock: Floats  # (Q,) inf where not limited
    green: Floats  # (Q,) green per roasted
    free: NDArray[np.bool_]  # (Q,)
    step: float | None

    @property
    def ending(self) -> NDArray[np.intp]:
        return np.flatnonzero((self.old > 0) & (self.new == 0))


def _read(
    old: Recipe,
    new: Recipe,
    profiles: Mapping[str, Mapping[str, float]],
    tolerance: float | Mapping[str, float],
    demand_kg: Sequence[float],
    stock_kg: Mapping[str, float] | None,
    losses: Mapping[str, float] | None,
    free: Collection[str],
    step: float | None,
) -> _Way:
    for title, recipe in (("old", old), ("new", new)):
        shares = list(recipe.values())
        if not shares or min(shares) < 0 or abs(sum(shares) - 1) > 1e-6:
            raise InputError(f"{title}: the shares sum to {sum(shares):.6g}; they must sum to 1")
    names = tuple(dict.fromkeys([*old, *new, *free]))
    missing = [name for name in names if name not in profiles]
    if missing:
        raise InputError(f"profiles: {missing[0]!r} is missing; give its mean intensities")
    attributes = tuple(profiles[names[0]])
    for name in names:
        if set(profiles[name]) != set(attributes):
            raise InputError(f"profiles: {name!r} has other attributes than {names[0]!r}")
    demand = np.asarray(demand_kg, dtype=float)
    if demand.ndim != 1 or demand.size < 1 or not (np.isfinite(demand) & (demand >= 0)).all():
        raise InputError(f"demand_kg: {demand_kg}; give kilograms from 0, one for each period")
    lost = np.array([(losses or {}).get(name, 0.0) for name in names])
    if not ((lost >= 0) & (lost < 1)).all():
        raise InputError("losses: give fractions from 0 up to 1, such as 0.16")
    goal = np.array([float(new.get(name, 0.0)) for name in names])
    if step is not None:
        _check_step(names, goal, step)
    return _Way(
        names=names,
        attributes=attributes,
        old=np.array([float(old.get(name, 0.0)) for name in names]),
        new=goal,
        taste=_taste(names, attributes, profiles, tolerance),
        demand=demand,
        stock=np.array([float((stock_kg or {}).get(name, np.inf)) for name in names]),
        green=1 / (1 - lost),
        free=np.array([name in free for name in names]),
        step=step,
    )


def _check_step(names: Sequence[str], goal: Floats, step: float) -> None:
    if not 0 < step <= 0.5 or abs(1 / step - round(1 / step)) > 1e-6:
        raise InputError(f"step: {step} must divide 1, such as 0.01 or 0.05")
    off = np.abs(goal / step - np.round(goal / step)) > 1e-6
    if off.any():
        k = int(np.argmax(off))
        raise InputError(
            f"new: {names[k]!r} has {goal[k]:g}, no multiple of the step {step:g}; round it, or "
            "take a finer step"
        )


def _taste(
    names: Sequence[str],
    attributes: Sequence[str],
    profiles: Mapping[str, Mapping[str, float]],
    tolerance: float | Mapping[str, float],
) -> Floats:
    rows = []
    for attribute in attributes:
        given = tolerance.get(attribute) if isinstance(tolerance, Mapping) else tolerance
        if given is None or not given > 0:
            raise InputError(f"tolerance: {attribute!r} has {given}; give a number above 0")
        rows.append([float(profiles[name][attribute]) / given for name in names])
    return np.array(rows).reshape(len(attributes), len(names))


def _short_of(way: _Way) -> tuple[str, ...]:
    """What even the last recipe, in the last period, takes more of than there is."""
    last = way.demand[-1] * way.new * way.green
    return tuple(n for n, short in zip(way.names, last > way.stock + 1e-9, strict=True) if short)


@dataclass(slots=True)
class _Model:
    way: _Way
    program: Program
    shares: Columns  # (T, Q) in steps
    changed: Columns  # (T,)
    left: Columns  # (E,) kilograms of ending components
    widest: Columns  # (1,) largest move of any component, for an even way
    worst: Columns  # (1,) largest step in tolerances; empty when strict

    @property
    def unit(self) -> float:
        return self.way.step or 1.0

    def goals(self) -> list[Floats]:
        program = self.program
        found = [program.vector((self.left, 1.0))] if self.left.size else []
        return [
            *found,
            program.vector((self.changed, 1.0)),
            program.vector((self.widest, 100.0 * self.unit)),
        ]


def _build(way: _Way, *, strict: bool) -> _Model:
    program = Program()
    periods, q = way.demand.size, len(way.names)
    unit = way.step or 1.0
    shares = program.add((periods, q), 1 / unit, whole=way.step is not None)
    model = _Model(
        way=way,
        program=program,
        shares=shares,
        changed=program.add((periods,), 1.0, whole=True),
        left=program.add((way.ending.size,)),
        widest=program.add((1,)),
        worst=np.empty(0, dtype=np.intp) if strict else program.add((1,)),
    )
    for t in range(periods):
        program.row((shares[t], unit), at_least=1 - _SMALL, at_most=1 + _SMALL)
        _moves(model, t)
    for k in range(q):
        # The way ends at the new recipe.
        last = way.new[k] / unit
        last = round(last) if way.step else last
        program.row((shares[-1, k], 1.0), at_least=last, at_most=last)
        used = (shares[:, k], way.demand * way.green[k] * unit)
        if np.isfinite(way.stock[k]):
            program.row(used, at_most=way.stock[k])
    for e, k in enumerate(way.ending):
        if np.isfinite(way.stock[k]):
            used = (shares[:, k], way.demand * way.green[k] * unit)
            program.row(used, (model.left[e], 1.0), at_least=way.stock[k], at_most=way.stock[k])
    return model


def _moves(model: _Model, t: int) -> None:
    """From one period to the next: within tolerance, never back, and counted."""
    way, program, unit = model.way, model.program, model.unit
    for k in range(len(way.names)):
        now = (model.shares[t, k], unit)
        before = [] if t == 0 else [(model.shares[t - 1, k], -unit)]
        was = float(way.old[k]) if t == 0 else 0.0
        up = way.new[k] > way.old[k] or way.free[k]
        down = way.new[k] < way.old[k] or way.free[k]
        program.row(now, *before, (model.changed[t], -1.0), at_most=was)
        program.row(now, *before, (model.changed[t], 1.0), at_least=was)
        if not up:
            program.row(now, *before, at_most=was + _SMALL)
        if not down:
            program.row(now, *before, at_least=was - _SMALL)
        program.row(now, *before, (model.widest, -1.0), at_most=was)
        program.row(now, *before, (model.widest, 1.0), at_least=was)
    for a in range(len(way.attributes)):
        factors = way.taste[a]
        now = (model.shares[t], factors * unit)
        before = [] if t == 0 else [(model.shares[t - 1], -factors * unit)]
        was = float(factors @ way.old) if t == 0 else 0.0
        bent = [(model.worst, -1.0)] if model.worst.size else []
        back = [(model.worst, 1.0)] if model.worst.size else []
        most = 0.0 if model.worst.size else 1.0
        program.row(now, *before, *bent, at_most=was + most + 1e-7)
        program.row(now, *before, *back, at_least=was - most - 1e-7)


def _plan(way: _Way, model: _Model, x: Floats, status: str, gap: float) -> Cutover:
    shares = x[model.shares]
    shares = np.round(shares) * way.step if way.step else np.maximum(shares, 0.0)
    whole = np.vstack([way.old, shares])
    moved = np.abs(np.diff(whole, axis=0))
    steps = np.abs(np.diff(way.taste @ whole.T, axis=1)).max(axis=1)
    used = (way.demand[:, None] * shares * way.green).sum(axis=0)
    return Cutover(
        recipes=tuple({n: float(s) for n, s in zip(way.names, row, strict=True)} for row in shares),
        changes=tuple(int(t) + 1 for t in np.flatnonzero(moved.max(axis=1) > 1e-6)),
        leftover_kg={
            way.names[k]: float(max(way.stock[k] - used[k], 0.0))
            for k in way.ending
            if np.isfinite(way.stock[k])
        },
        used_kg={n: float(kg) for n, kg in zip(way.names, used, strict=True)},
        largest_step={a: float(s) for a, s in zip(way.attributes, steps, strict=True)},
        status=status,  # type: ignore[arg-type]
        gap=gap,
    )
