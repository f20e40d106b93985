"""Mend a running roast day when the real losses come in, changing as little as possible."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coupage.errors import InputError
from coupage.plan.day import Drum, PlannedBatch, RoastDay, WayOutPrices
from coupage.plan.day_model import GOALS, DayModel, build, chosen_goals
from coupage.plan.problem import Demand, Drums, Losses, Pin, Recipes, as_drums, as_loss, read
from coupage.plan.roast_day import leave_out, plan_of, ways_out
from coupage.roast import green_shares

__all__ = ["DoneBatch", "Repair", "repair_day"]

Floats = NDArray[np.float64]
Key = tuple[str, str, int]  # coffee, drum, day


@dataclass(frozen=True, slots=True)
class DoneBatch:
    """A batch that has been roasted; for one still in the drum, its expected yield."""

    coffee: str
    drum: str
    charge_kg: float
    roasted_kg: float


@dataclass(frozen=True, slots=True)
class Repair:
    """The rest of the day.

    Attributes
    ----------
    day
        What is still to be roasted, times counted from the start of the day.
    changes
        One sentence per change against the plan; empty when it stands.
    """

    day: RoastDay
    changes: tuple[str, ...]

    def sentence(self) -> str:
        """Say what changes."""
        if not self.changes:
            return "The plan stands."
        text = "; ".join(self.changes)
        return text[0].upper() + text[1:] + "."


def repair_day(
    planned: Sequence[PlannedBatch],
    done: Sequence[DoneBatch],
    demand_kg: Demand,
    recipes: Recipes,
    losses: Losses,
    drum: Drums,
    *,
    now_minutes: float | Mapping[str, float],
    stock_roasted_kg: Mapping[str, float] | None = None,
    stock_green_kg: Mapping[str, float] | None = None,
    hours: float | Mapping[str, float] | None = None,
    safety: float = 0.95,
    ranks: Mapping[str, int] | None = None,
    pre_roast: Recipes | None = None,
    charge_step_kg: float | None = None,
    lot_of: Mapping[str, str] | None = None,
    pinned: Sequence[Pin] = (),
    prices: WayOutPrices | None = None,
    gap: float = 0.01,
    seconds: float = 20.0,
) -> Repair:
    """Plan the rest of a day so that every order is met and the plan changes least.

    Parameters
    ----------
    planned
        The day's batches as planned, such as ``roast_day(...).batches``.
    done
        What has been roasted so far, with real weights.
    demand_kg, recipes, losses, drum, stock_roasted_kg, stock_green_kg, hours, safety, ranks,
    pre_roast, charge_step_kg, lot_of, pinned, prices, gap, seconds
        As in `roast_day`, stock as it was when the day began; losses may be newer ones.
    now_minutes
        When each drum is free for its next batch, in minutes from the start of day 1.

    Returns
    -------
    Repair
        Fewest batches added or dropped, then fewest kilograms moved, then the goals of
        `roast_day`; a batch that no order needs any more is dropped, but charges are not lowered
        to save surplus (plan anew for that). An impossible rest is told as there.

    Raises
    ------
    InputError
        When a done batch was roasted nowhere, gained mass, or another argument cannot be used.
    """
    drums = as_drums(drum)
    mixes = pre_roast or {}
    roasted, green = _so_far(
        done, drums, losses, mixes, lot_of or {}, stock_roasted_kg, stock_green_kg
    )
    names = [d.name for d in drums]
    free = [
        now_minutes.get(n, 0.0) if isinstance(now_minutes, Mapping) else now_minutes for n in names
    ]
    last = {b.drum: b.coffee for b in done}
    problem = read(
        demand_kg,
        recipes,
        losses,
        drums,
        stock_roasted_kg=roasted,
        stock_green_kg=green,
        hours=hours,
        safety=safety,
        ranks=ranks,
        pre_roast=pre_roast,
        charge_step_kg=charge_step_kg,
        lot_of=lot_of,
        pinned=pinned,
        start=np.array(free, dtype=float),
        loaded=[last.get(n, "") for n in names],
    )
    rest = _not_yet(planned, done)
    model = build(problem)
    moved = _moves(model, rest)
    outcome = model.program.solve([*moved, *chosen_goals(GOALS, model)], gap=gap, seconds=seconds)
    if outcome.x is not None:
        day = plan_of(model, outcome.x, outcome.status, outcome.gap)
    else:
        day = leave_out(problem, GOALS, outcome.status, gap, seconds / 2)
        ways = ways_out(problem, prices or WayOutPrices(), gap, seconds / 2)
        day = replace(day, ways_out=ways)
    return Repair(day, _told(rest, day.batches))


def _so_far(
    done: Sequence[DoneBatch],
    drums: Sequence[Drum],
    losses: Losses,
    mixes: Recipes,
    lot_of: Mapping[str, str],
    stock_roasted: Mapping[str, float] | None,
    stock_green: Mapping[str, float] | None,
) -> tuple[dict[str, float], dict[str, float] | None]:
    """Stock as it is now: plus what has dropped, minus what was charged."""
    names = {d.name for d in drums}
    roasted = dict(stock_roasted or {})
    green = None if stock_green is None else dict(stock_green)
    for batch in done:
        if batch.drum not in names or not 0 < batch.roasted_kg <= batch.charge_kg:
            raise InputError(
                f"done: {batch.roasted_kg} kg of {batch.coffee!r} from {batch.charge_kg} kg on "
                f"{batch.drum!r}; name a drum of the day, and a roast cannot gain mass"
            )
        roasted[batch.coffee] = roasted.get(batch.coffee, 0.0) + batch.roasted_kg
        if green is not None:
            mix = mixes.get(batch.coffee, {batch.coffee: 1.0})
            parts = green_shares(list(mix.values()), [as_loss(losses, lot).mean for lot in mix])
            for lot, part in zip(mix, parts, strict=True):
                name = lot_of.get(lot, lot)
                green[name] = max(green.get(name, 0.0) - float(part) * batch.charge_kg, 0.0)
    return roasted, green


def _not_yet(planned: Sequence[PlannedBatch], done: Sequence[DoneBatch]) -> list[PlannedBatch]:
    """Planned batches less the done ones, earliest first; one done on another drum counts too."""
    rest = sorted(planned, key=lambda b: (b.day, b.start_minute))
    for batch in done:
        same = [b for b in rest if b.coffee == batch.coffee]
        here = [b for b in same if b.drum == batch.drum]
        if same:
            rest.remove((here or same)[0])
    return rest


def _moves(model: DayModel, rest: Sequence[PlannedBatch]) -> list[Floats]:
    """Goals of least change: batches added or dropped, then green kilograms moved."""
    problem, program = model.problem, model.program
    days = sorted(set(problem.days.tolist()))
    shape = len(problem.coffees), len(problem.drums), len(days)
    counts, masses = np.zeros(shape), np.zeros(shape)
    names = [d.name for d in problem.drums]
    for batch in rest:
        if batch.coffee in problem.coffees and batch.drum in names and batch.day in days:
            at = (
                problem.coffees.index(batch.coffee),
                names.index(batch.drum),
                days.index(batch.day),
            )
            counts[at] += 1
            masses[at] += batch.charge_kg
    moved, shifted = program.add(shape), program.add(shape)
    for c, m, d in np.ndindex(*shape):
        periods = np.flatnonzero(problem.days == days[d])
        for away, columns, unit, was in (
            (moved, model.batches, 1.0, counts),
            (shifted, model.green, model.unit, masses),
        ):
            now = columns[c, m, periods]
            program.row((away[c, m, d], 1.0), (now, -unit), at_least=-float(was[c, m, d]))
            program.row((away[c, m, d], 1.0), (now, unit), at_least=float(was[c, m, d]))
    return [program.vector((moved, 1.0)), program.vector((shifted, 1.0))]


def _told(before: Sequence[PlannedBatch], after: Sequence[PlannedBatch]) -> tuple[str, ...]:
    """Changes in words, by coffee, drum and day."""

    def grouped(batches: Sequence[PlannedBatch]) -> dict[Key, list[float]]:
        groups: dict[Key, list[float]] = {}
        for b in batches:
            groups.setdefault((b.coffee, b.drum, b.day), []).append(b.charge_kg)
        return groups

    old, new = grouped(before), grouped(after)
    told = []
    for key in sorted(set(old) | set(new)):
        coffee, drum, day = key
        where = f"{coffee} on {drum}" + (f", day {day}" if day > 1 else "")
        gone, come = _differences(old.get(key, []), new.get(key, []))
        more = len(come) - len(gone)
        if more:
            few = "one" if abs(more) == 1 else str(abs(more))
            batches = "batch" if abs(more) == 1 else "batches"
            added = f", {_charges_told(come[-more:])}" if more > 0 else ""
            told.append(f"{few} {'more' if more > 0 else 'fewer'} {batches} of {where}{added}")
        kept = come[:-more] if more > 0 else come
        if kept:
            told.append(f"charge {where} with {_charges_told(kept)} instead")
    return tuple(told)


def _differences(was: Sequence[float], now: Sequence[float]) -> tuple[list[float], list[float]]:
    """Charges that are gone and charges that are new; those within 50 g are the same."""
    gone, come = sorted(was), []
    for charge in sorted(now):
        same = next((other for other in gone if abs(other - charge) <= 0.05), None)
        if same is None:
            come.append(charge)
        else:
            gone.remove(same)
    return gone, come


def _charges_told(charges: Sequence[float]) -> str:
    """Write charges: ``14.2 kg``, ``3 times 9.0 kg and 14.2 kg``."""
    kinds: dict[str, int] = {}
    for charge in charges:
        kinds[f"{charge:.1f} kg"] = kinds.get(f"{charge:.1f} kg", 0) + 1
    parts = [kind if n == 1 else f"{n} times {kind}" for kind, n in kinds.items()]
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
