"""Plan a day of whole batches from orders, recipes, stock and expected losses."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from coupage.errors import InputError
from coupage.plan.day import PlannedBatch, RoastDay, WayOut, WayOutPrices
from coupage.plan.day_model import GOALS, DayModel, build, chosen_goals
from coupage.plan.problem import Demand, Drums, Losses, Pin, Problem, Recipes, read

__all__ = ["leave_out", "plan_of", "roast_day", "ways_out"]

Floats = NDArray[np.float64]
_BENDS = ("overtime", "green", "late", "short")


def roast_day(
    demand_kg: Demand,
    recipes: Recipes,
    losses: Losses,
    drum: Drums,
    *,
    stock_roasted_kg: Mapping[str, float] | None = None,
    stock_green_kg: Mapping[str, float] | None = None,
    hours: float | Mapping[str, float] | None = None,
    safety: float = 0.95,
    ranks: Mapping[str, int] | None = None,
    pre_roast: Recipes | None = None,
    charge_step_kg: float | None = None,
    lot_of: Mapping[str, str] | None = None,
    pinned: Sequence[Pin] = (),
    goals: Sequence[str] = GOALS,
    prices: WayOutPrices | None = None,
    gap: float = 0.01,
    seconds: float = 20.0,
    progress: Callable[[str, float, float], None] | None = None,
    best: Callable[[RoastDay], None] | None = None,
) -> RoastDay:
    """Plan the batches of a day, or of several.

    Parameters
    ----------
    demand_kg
        Roasted kilograms by blend, or a sequence of `Order` with due times and days.
    recipes
        By blend: coffee and its share of the roasted mass.
    losses
        By coffee: a fraction, or a belief with doubt from `coupage.roast.expected_loss`.
    drum
        One `Drum` or several.
    stock_roasted_kg
        Kilograms of roasted coffees and of ready blends; each is used before anything is roasted.
    stock_green_kg
        Kilograms of green; without it green is not limited, in it a coffee not named has none.
    hours
        Length of a day, one number or one per drum; without it time is not limited.
    safety
        Chance that the batches suffice for all orders, given the doubt about the losses.
    ranks
        Order on a drum within a day, low ranks first: light before dark, decaffeinated last.
    pre_roast
        Coffees that are a green mix: by name, lot and its share of the roasted mass. Losses and
        green stock are then those of the lots.
    charge_step_kg
        Charges are whole multiples of this; without it any charge may come out.
    lot_of
        Coffee: the lot whose green it draws, where several coffees share one; without an entry a
        coffee is its own lot.
    pinned
        Batches that must be in the plan, each a `Pin`; the rest is planned around them.
    goals
        In order of weight: surplus, batches, odd charges, changes.
    prices
        What it costs to bend a limit when the day is impossible.
    gap
        Relative gap to which each goal is proven.
    seconds
        Longest time to search for a plan; then the best so far comes back, with its gap. As long
        again may go into the ways out of an impossible day.
    progress
        Hears goal, value and gap after each goal.
    best
        Gets the best plan so far after each goal, for whoever will not wait for the last one.

    Returns
    -------
    RoastDay
        ``status`` is ``"impossible"`` when not every order can be met; the plan then leaves out as
        little as it can, and ``ways_out`` says what would help, cheapest first.

    Raises
    ------
    InputError
        When an argument cannot be used.

    Examples
    --------
    Two coffees at equal shares of 40 kg, 16 % loss: 23.8 kg green each, two batches each.

    >>> from coupage.plan import Drum, roast_day
    >>> day = roast_day(
    ...     {"house": 40.0},
    ...     {"house": {"washed": 0.5, "natural": 0.5}},
    ...     {"washed": 0.16, "natural": 0.16},
    ...     Drum(least_kg=6.0, largest_kg=12.0),
    ... )
    >>> day.sentence()
    '4 batches, 1 change of coffee, 0.0 kg beyond the orders.'
    """
    problem = read(
        demand_kg,
        recipes,
        losses,
        drum,
        stock_roasted_kg=stock_roasted_kg,
        stock_green_kg=stock_green_kg,
        hours=hours,
        safety=safety,
        ranks=ranks,
        pre_roast=pre_roast,
        charge_step_kg=charge_step_kg,
        lot_of=lot_of,
        pinned=pinned,
    )
    if not 0 <= gap < 1 or not seconds > 0:
        raise InputError(f"gap, seconds: {gap}, {seconds}; gap lies from 0 to 1, seconds above 0")
    model = build(problem)
    names = [g for g in goals if g != "odd charges" or model.preferred]

    def tell(number: int, value: float, reached: float, x: Floats) -> None:
        if progress is not None:
            progress(names[number], value, reached)
        if best is not None:
            best(plan_of(model, x, "stopped", reached))

    outcome = model.program.solve(
        chosen_goals(goals, model), gap=gap, seconds=seconds, progress=tell
    )
    if outcome.x is not None:
        return plan_of(model, outcome.x, outcome.status, outcome.gap)
    plan = leave_out(problem, goals, outcome.status, gap, seconds / 2)
    if outcome.status == "impossible":
        ways = ways_out(problem, prices or WayOutPrices(), gap, seconds / 2)
        plan = replace(plan, ways_out=ways)
    return plan


def plan_of(model: DayModel, x: Floats, status: str, gap: float) -> RoastDay:
    """Read a solution back as batches in time."""
    problem = model.problem
    batches = _batches(model, x)
    made = np.zeros(len(problem.coffees))
    green = np.zeros(len(problem.coffees))
    for batch in batches:
        c = problem.coffees.index(batch.coffee)
        green[c] += batch.charge_kg
        made[c] += batch.expected_kg
    short = x[model.short] if model.short.size else np.zeros(len(problem.orders))
    share = problem.need / np.maximum([o.kg for o in problem.orders], 1e-12)
    wanted = np.maximum(problem.need.sum(axis=1) - share @ short - problem.stock, 0.0)
    surplus = np.maximum(made - wanted, 0.0)
    per_lot = problem.green_use @ green
    minutes = {
        d.name: float(
            sum(
                max((b.end_minute for b in batches if (b.drum, b.day) == (d.name, day)), default=0)
                for day in sorted(set(problem.days.tolist()))
            )
        )
        for d in problem.drums
    }
    changes = sum(
        a.coffee != b.coffee and (a.drum, a.day) == (b.drum, b.day) for a, b in pairwise(batches)
    )
    return RoastDay(
        batches=batches,
        surplus_kg={c: float(s) for c, s in zip(problem.coffees, surplus, strict=True)},
        status=status,  # type: ignore[arg-type]
        gap=gap,
        changes=changes,
        minutes=minutes,
        green_kg={lot: float(g) for lot, g in zip(problem.lots, per_lot, strict=True) if g > 0},
        unmet_kg={
            o.title: float(s) for o, s in zip(problem.orders, short, strict=True) if s > 1e-3
        },
    )


def _batches(model: DayModel, x: Floats) -> tuple[PlannedBatch, ...]:
    problem = model.problem
    count = np.round(x[model.batches]).astype(int)
    result = []
    for day in sorted(set(problem.days.tolist())):
        for m, drum in enumerate(problem.drums):
            clock = float(problem.start[m]) if day == 1 else 0.0
            loaded = int(problem.loaded[m]) if day == 1 else -1
            for p in np.flatnonzero(problem.days == day):
                for c in _order_in(model, x, count, m, int(p), loaded):
                    if loaded not in (-1, c):
                        clock += drum.change_minutes
                    loaded = c
                    for charge in _split(model, x, c, m, int(p), int(count[c, m, p])):
                        start, clock = clock, clock + float(problem.minutes[c, m])
                        out = float(charge * problem.kept[c])
                        result.append(
                            PlannedBatch(
                                problem.coffees[c], drum.name, day, start, clock, charge, out
                            )
                        )
    return tuple(result)


def _order_in(
    model: DayModel, x: Floats, count: NDArray[np.int_], m: int, p: int, loaded: int
) -> list[int]:
    """Coffees of a drum and period in turn: the one in the drum, by rank, the one carried on."""
    problem = model.problem
    present = [int(c) for c in np.flatnonzero(count[:, m, p])]
    goes_on = p + 1 < problem.days.size and problem.days[p + 1] == problem.days[p]
    carried = -1
    if goes_on:
        carries = x[model.carry[:, m, p + 1]] > 0.5
        carried = int(np.argmax(carries)) if carries.any() else -1

    def place(c: int) -> tuple[bool, int, bool, int]:
        return (c != loaded, problem.rank[c], c == carried, c)

    if len(present) > 1 and carried == loaded:
        carried = -1
    return sorted(present, key=place)


def _split(model: DayModel, x: Floats, c: int, m: int, p: int, count: int) -> list[float]:
    """Charges of one coffee's batches: preferred sizes first, the rest alike."""
    sizes = [
        size
        for drum, size, columns in model.preferred
        if drum == m
        for _ in range(round(x[columns[c, p]]))
    ]
    left = count - len(sizes)
    if left == 0:
        return sizes
    step = model.problem.step
    if step is None:
        drum = model.problem.drums[m]
        each = (float(x[model.green[c, m, p]]) - sum(sizes)) / left
        return sizes + [min(max(each, drum.least_kg), drum.largest_kg)] * left
    steps = round(x[model.green[c, m, p]]) - sum(round(s / step) for s in sizes)
    base, more = divmod(steps, left)
    rest = [(base + 1) * step] * more + [base * step] * (left - more)
    return sizes + [round(charge, 9) for charge in rest]


def leave_out(
    problem: Problem, goals: Sequence[str], status: str, gap: float, seconds: float
) -> RoastDay:
    """Plan with as few kilograms left out as possible, then by the goals."""
    model = build(problem, {"short"})
    wanted = [model.goal("short"), *chosen_goals(goals, model)]
    outcome = model.program.solve(wanted, gap=gap, seconds=seconds)
    if outcome.x is None:
        return RoastDay((), {}, "stopped", np.inf)
    return plan_of(model, outcome.x, status, outcome.gap)


def ways_out(
    problem: Problem, prices: WayOutPrices, gap: float, seconds: float
) -> tuple[WayOut, ...]:
    """Bend each limit alone, then all together: the last is the cheapest that there is."""
    found: list[WayOut] = []
    for bend in [*({b} for b in _BENDS), set(_BENDS)]:
        model = build(problem, bend)
        # Among equally cheap ones, one with few batches, so that nothing is done for nothing.
        wanted = [model.price(prices), model.goal("batches")]
        outcome = model.program.solve(wanted, gap=gap, seconds=seconds / (len(_BENDS) + 1))
        if outcome.x is not None:
            way = _way_out(model, outcome.x, prices)
            if all(way.sentence() != other.sentence() for other in found):
                found.append(way)
    return tuple(sorted(found, key=lambda w: w.price))


def _way_out(model: DayModel, x: Floats, prices: WayOutPrices) -> WayOut:
    problem = model.problem

    def bent(columns: NDArray[np.intp], names: Sequence[str]) -> dict[str, float]:
        if not columns.size:
            return {}
        return {n: float(v) for n, v in zip(names, x[columns], strict=True) if v > 1e-3}

    overtime: dict[str, float] = {}
    if model.overtime.size:
        sums = x[model.overtime].sum(axis=1)
        overtime = {d.name: float(v) for d, v in zip(problem.drums, sums, strict=True) if v > 1e-3}
    late: dict[str, float] = {}
    if model.late.size:
        late = {
            o.title: float(x[model.late[p]])
            for o, p in zip(problem.orders, problem.period, strict=True)
            if x[model.late[p]] > 1e-3
        }
    return WayOut(
        price=float(model.price(prices) @ x),
        short_kg=bent(model.short, [o.title for o in problem.orders]),
        overtime_minutes=overtime,
        buy_green_kg=bent(model.buy, problem.lots),
        late_minutes=late,
    )
