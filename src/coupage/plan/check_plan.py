"""Check a plan of batches against the day's own facts, without knowing how it was made.

It walks the clock and the kilograms batch by batch, and shares no arithmetic with the planner.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from itertools import pairwise
from statistics import NormalDist

from coupage.plan.day import Drum, Order, PlannedBatch
from coupage.plan.problem import Demand, Drums, Losses, Pin, Recipes, as_drums, as_loss, as_orders

__all__ = ["check_plan"]

_KG = 1e-3
_MINUTE = 1e-6


def check_plan(
    batches: Sequence[PlannedBatch],
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
    lot_of: Mapping[str, str] | None = None,
    pinned: Sequence[Pin] = (),
) -> tuple[str, ...]:
    """Say everything that is wrong with a plan.

    Parameters
    ----------
    batches
        What is to be roasted.
    demand_kg, recipes, losses, drum, stock_roasted_kg, stock_green_kg, hours, safety, ranks,
    pre_roast, lot_of, pinned
        As in `roast_day`.

    Returns
    -------
    tuple of str
        One sentence per fault; empty when the plan holds.
    """
    drums = as_drums(drum)
    orders = as_orders(demand_kg)
    mixes = pre_roast or {}
    faults = _clock_faults(batches, drums, hours, ranks or {})
    faults += _green_faults(batches, losses, mixes, lot_of or {}, stock_green_kg)
    faults += _pin_faults(batches, pinned)
    faults += _order_faults(batches, orders, recipes, losses, mixes, stock_roasted_kg or {}, safety)
    return tuple(faults)


def _clock_faults(
    batches: Sequence[PlannedBatch],
    drums: Sequence[Drum],
    hours: float | Mapping[str, float] | None,
    ranks: Mapping[str, int],
) -> list[str]:
    faults = []
    by_name = {d.name: d for d in drums}
    queues: dict[tuple[str, int], list[PlannedBatch]] = defaultdict(list)
    for b in batches:
        if b.drum not in by_name:
            faults.append(f"{b.coffee} goes into {b.drum!r}, which is not there")
            continue
        d = by_name[b.drum]
        queues[b.drum, b.day].append(b)
        if not d.least_kg - _KG <= b.charge_kg <= d.largest_kg + _KG:
            faults.append(f"{b.charge_kg:.3f} kg of {b.coffee} is no charge for {d.name}")
        if d.coffees and b.coffee not in d.coffees:
            faults.append(f"{d.name} may not roast {b.coffee}")
        if b.end_minute - b.start_minute < d.minutes_for(b.coffee) - _MINUTE or b.start_minute < 0:
            faults.append(
                f"{b.coffee} at minute {b.start_minute:.0f} on {d.name} has too little time"
            )
        end = hours.get(b.drum) if isinstance(hours, Mapping) else hours
        if end is not None and b.end_minute > 60 * end + _MINUTE:
            faults.append(f"{b.coffee} on {d.name} ends after the day, at {b.end_minute:.0f} min")
    for (name, day), queue in queues.items():
        queue.sort(key=lambda b: b.start_minute)
        for a, b in pairwise(queue):
            pause = by_name[name].change_minutes if a.coffee != b.coffee else 0.0
            if b.start_minute < a.end_minute + pause - _MINUTE:
                faults.append(f"{b.coffee} starts too early on {name}, day {day}")
            if ranks.get(b.coffee, 0) < ranks.get(a.coffee, 0):
                faults.append(f"{b.coffee} comes after {a.coffee} on {name}, day {day}")
    return faults


def _green_faults(
    batches: Sequence[PlannedBatch],
    losses: Losses,
    mixes: Recipes,
    lot_of: Mapping[str, str],
    stock: Mapping[str, float] | None,
) -> list[str]:
    if stock is None:
        return []
    used: dict[str, float] = defaultdict(float)
    for b in batches:
        for lot, part in _green_parts(b.coffee, losses, mixes).items():
            used[lot_of.get(lot, lot)] += b.charge_kg * part
    return [
        f"{lot} needs {kg:.3f} kg green, {stock.get(lot, 0.0):.3f} kg are there"
        for lot, kg in used.items()
        if kg > stock.get(lot, 0.0) + _KG
    ]


def _pin_faults(batches: Sequence[PlannedBatch], pinned: Sequence[Pin]) -> list[str]:
    left = list(batches)
    faults = []
    for pin in pinned:
        where = (pin.coffee, pin.drum, pin.day)
        for b in left:
            if (b.coffee, b.drum, b.day) == where and abs(b.charge_kg - pin.charge_kg) <= _KG:
                left.remove(b)
                break
        else:
            faults.append(f"the pinned {pin.charge_kg:.3f} kg of {pin.coffee} is missing")
    return faults


def _green_parts(coffee: str, losses: Losses, mixes: Recipes) -> dict[str, float]:
    mix = mixes.get(coffee, {coffee: 1.0})
    green = {lot: share / (1 - as_loss(losses, lot).mean) for lot, share in mix.items()}
    return {lot: kg / sum(green.values()) for lot, kg in green.items()}


def _order_faults(
    batches: Sequence[PlannedBatch],
    orders: Sequence[Order],
    recipes: Recipes,
    losses: Losses,
    mixes: Recipes,
    stock: Mapping[str, float],
    safety: float,
) -> list[str]:
    """Chance of enough of each coffee at each due time, and of all of it together."""
    left = {name: stock.get(name, 0.0) for name in recipes}
    owed: dict[str, float] = defaultdict(float)
    chances: dict[tuple[str, float], tuple[float, str]] = {}
    faults = []
    moments = sorted({(o.day, _due(o)) for o in orders})
    for day, due in moments:
        for o in orders:
            if (o.day, _due(o)) == (day, due):
                ready = min(left.get(o.blend, 0.0), o.kg)
                left[o.blend] = left.get(o.blend, 0.0) - ready
                for coffee, share in recipes[o.blend].items():
                    owed[coffee] += share * (o.kg - ready)
        for coffee, kg in owed.items():
            new = kg - stock.get(coffee, 0.0)
            if new <= _KG:
                continue
            charges = [
                b.charge_kg
                for b in batches
                if b.coffee == coffee
                and (b.day < day or (b.day == day and b.end_minute <= due + _MINUTE))
            ]
            mean, sd = _yield(charges, coffee, losses, mixes)
            if mean < new - _KG:
                faults.append(f"{coffee} gives {mean:.3f} kg by day {day}, {new:.3f} kg are due")
            elif sd > 0:
                chances[coffee, new] = (NormalDist(mean, sd).cdf(new), coffee)
    enough = 1.0
    for miss, _ in chances.values():
        enough *= 1 - miss
    if not faults and enough < safety - 1e-6:
        faults.append(f"the batches suffice with a chance of {enough:.4f}, below {safety}")
    return faults


def _due(order: Order) -> float:
    return float("inf") if order.due_hours is None else 60 * order.due_hours


def _yield(
    charges: Sequence[float], coffee: str, losses: Losses, mixes: Recipes
) -> tuple[float, float]:
    """Mean and sd of what the charges give: levels shared by batches, scatter each its own."""
    mean, variance = 0.0, 0.0
    for lot, part in _green_parts(coffee, losses, mixes).items():
        one = as_loss(losses, lot)
        mean += sum(charges) * part * (1 - one.mean)
        variance += (sum(charges) * part * one.sd) ** 2
        variance += sum((q * part * one.batch_sd) ** 2 for q in charges)
    return mean, variance**0.5
