"""What a roast day is planned from: orders, recipes, stock, losses, machines, as plain columns."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from coupage.plan import Drum, Order, Pin
from coupage.roast import ExpectedLoss
from coupage.web.batches.losses import expected_losses
from coupage.web.batches.models import Batch, Machine, Verdict
from coupage.web.batches.queries import machines, stocked
from coupage.web.blends.models import Recipe
from coupage.web.blends.queries import recipes
from coupage.web.coffees.actions import day_purpose
from coupage.web.coffees.models import Approach, ApproachVersion
from coupage.web.coffees.queries import lots, newest_versions, promised_g
from coupage.web.orders import queries as orders
from coupage.web.production.queries import loose_on_hand, packed_on_hand
from coupage.web.roastdays.models import DayBatch, DayPlan

__all__ = ["STEP_KG", "DayFacts", "facts_of", "in_the_drum"]

STEP_KG = 0.1
"""Charges come in steps that a scale beside the machine shows."""

_DECAFFEINATED = 1000


@dataclass(frozen=True, slots=True)
class DayFacts:
    """Arguments of the planner, and what could not be planned at all.

    Coffees are named as approaches read; ``approaches`` and ``machines`` lead back to the rows.
    """

    demand: tuple[Order, ...]
    recipes: dict[str, dict[str, float]]
    losses: dict[str, ExpectedLoss]
    drums: tuple[Drum, ...]
    stock_roasted_kg: dict[str, float]
    stock_green_kg: dict[str, float]
    hours: float
    safety: float
    ranks: dict[str, int]
    lot_of: dict[str, str]
    pinned: tuple[Pin, ...]
    left_out: tuple[str, ...]
    approaches: dict[str, Approach] = field(repr=False, default_factory=dict)
    machines: dict[str, Machine] = field(repr=False, default_factory=dict)

    def arguments(self) -> dict[str, Any]:
        """Return what the planner, the repair and the check all take by name."""
        return {
            "stock_roasted_kg": self.stock_roasted_kg,
            "stock_green_kg": self.stock_green_kg,
            "hours": self.hours,
            "safety": self.safety,
            "ranks": self.ranks,
            "lot_of": self.lot_of,
            "pinned": self.pinned,
        }


def facts_of(day: DayPlan) -> DayFacts:
    """Read what a day has to meet and what it has to meet it with."""
    served = {r.blend_id: r for r in recipes().filter(state=Recipe.State.IN_SERVICE)}
    demand, left_out = _demand(day, served)
    pins = list(day.batches.filter(pinned=True).select_related("approach__lot", "machine"))
    shares = {
        recipe.blend.name: {str(s.approach): s.share_ppm / 1_000_000 for s in recipe.shares.all()}
        for recipe in served.values()
    }
    approaches = {str(s.approach): s.approach for r in served.values() for s in r.shares.all()}
    approaches |= {str(pin.approach): pin.approach for pin in pins}
    targets = {version.approach_id: version for version in newest_versions()}
    estimates = expected_losses()
    machine_rows = {machine.name: machine for machine in machines()}
    return DayFacts(
        demand=demand,
        recipes=shares,
        losses={name: estimates[a.pk] for name, a in approaches.items()},
        drums=_drums(list(machine_rows.values()), approaches, targets),
        stock_roasted_kg=_roasted(day, approaches, estimates) | _loose(served),
        stock_green_kg=_green(day, approaches),
        hours=float(day.hours),
        safety=float(day.safety),
        ranks={n: _rank(a, targets, estimates[a.pk]) for n, a in approaches.items()},
        lot_of={name: a.lot.name for name, a in approaches.items()},
        pinned=tuple(_pin(pin) for pin in pins if pin.machine.name in machine_rows),
        left_out=left_out,
        approaches=approaches,
        machines=machine_rows,
    )


def _demand(day: DayPlan, served: dict[int, Recipe]) -> tuple[tuple[Order, ...], tuple[str, ...]]:
    """Orders as the planner takes them, one for each blend, and blends without a recipe."""
    found: list[Order] = []
    missing: dict[str, int] = {}
    ready = _ready_bags()
    for order in orders.due_by(day.until):
        wanted: dict[int, int] = {}
        for line in order.lines.all():
            kind = (line.blend_id, line.bag_g)
            there = min(ready.get(kind, 0), line.bags)
            ready[kind] = ready.get(kind, 0) - there
            mass_g = line.bag_g * (line.bags - there)
            wanted[line.blend_id] = wanted.get(line.blend_id, 0) + mass_g
            if line.blend_id not in served:
                missing[line.blend.name] = missing.get(line.blend.name, 0) + mass_g
        for blend, mass_g in wanted.items():
            if blend in served and mass_g:
                name = served[blend].blend.name
                title = f"{order.customer}, {name} (order {order.number})"
                due = _due_hours(day, order.due_on, order.due_time)
                found.append(Order(name, mass_g / 1000, name=title, due_hours=due))
    said = tuple(
        f"{name} has no recipe in service; {mass_g / 1000:.1f} kg that are ordered of it are not "
        "planned"
        for name, mass_g in sorted(missing.items())
        if mass_g
    )
    return tuple(found), said


def _ready_bags() -> dict[tuple[int, int], int]:
    """Return packed bags that no packed order waits for, by blend and grams of one bag."""
    bags = packed_on_hand()
    for order in orders.orders().filter(state="packed"):
        for line in order.lines.all():
            kind = (line.blend_id, line.bag_g)
            bags[kind] = max(bags.get(kind, 0) - line.bags, 0)
    return bags


def _due_hours(day: DayPlan, on: dt.date, at: dt.time | None) -> float | None:
    """Hours from the first charge to a due time of that day; None: any time of the day does."""
    if on != day.on or at is None:
        return None
    minutes = 60 * (at.hour - day.starts_at.hour) + at.minute - day.starts_at.minute
    return max(minutes, 1) / 60


def _drums(
    rows: list[Machine], approaches: dict[str, Approach], targets: dict[int, ApproachVersion]
) -> tuple[Drum, ...]:
    """Machines with the coffees whose charge they take; a coffee that fits none may go anywhere."""
    charges = {
        name: targets[a.pk].charge_g if a.pk in targets else None for name, a in approaches.items()
    }

    def fits(machine: Machine, charge_g: int | None) -> bool:
        return charge_g is None or machine.least_charge_g <= charge_g <= machine.largest_charge_g

    homeless = {n for n, c in charges.items() if not any(fits(m, c) for m in rows)}
    made = []
    for machine in rows:
        here = {n for n, c in charges.items() if n in homeless or fits(machine, c)}
        if not here:
            continue
        liked = {charges[n] for n in here - homeless}
        made.append(
            Drum(
                machine.least_charge_g / 1000,
                machine.largest_charge_g / 1000,
                name=machine.name,
                minutes=float(machine.minutes),
                change_minutes=float(machine.change_minutes),
                preferred_kg=tuple(sorted(c / 1000 for c in liked if c and c % 100 == 0)),
                coffees=frozenset(here),
            )
        )
    return tuple(made)


def _rank(approach: Approach, targets: dict[int, ApproachVersion], loss: ExpectedLoss) -> int:
    """Light before dark, decaffeinated last: by the loss meant, in whole per cent."""
    meant = targets[approach.pk].loss_pct if approach.pk in targets else None
    per_cent = 100 * loss.mean if meant is None else float(meant)
    return round(per_cent) + (_DECAFFEINATED if approach.lot.decaffeinated else 0)


def _roasted(
    day: DayPlan, approaches: dict[str, Approach], estimates: Mapping[int, ExpectedLoss]
) -> dict[str, float]:
    """Kilograms of roasted coffee for the orders: fresh, not held; or still in the drums."""
    oldest = day.on - dt.timedelta(days=day.use_within_days)
    fresh = stocked().filter(on_hand_g__gt=0, roasted_at__date__gte=oldest)
    on_hand: dict[int, float] = {}
    for one in fresh.exclude(verdict=Verdict.HOLD):
        key = one.approach_version.approach_id
        on_hand[key] = on_hand.get(key, 0.0) + one.on_hand_g / 1000
    for batch in in_the_drum(day):
        key = batch.approach_version.approach_id
        out = batch.green_g / 1000 * (1 - estimates[key].mean)
        on_hand[key] = on_hand.get(key, 0.0) + out
    return {name: on_hand[a.pk] for name, a in approaches.items() if on_hand.get(a.pk, 0) > 0}


def _loose(served: dict[int, Recipe]) -> dict[str, float]:
    """Kilograms of blends that are mixed already and not packed."""
    loose = loose_on_hand()
    return {r.blend.name: loose[key] / 1000 for key, r in served.items() if loose.get(key, 0) > 0}


def _green(day: DayPlan, approaches: dict[str, Approach]) -> dict[str, float]:
    """Kilograms of green that are free, and those that are promised to this very day."""
    own = promised_g(day_purpose(day.on))
    keys = {a.lot_id for a in approaches.values()}
    return {
        lot.name: max(lot.free_g + own.get(lot.pk, 0), 0) / 1000
        for lot in lots().filter(pk__in=keys)
    }


def _pin(batch: DayBatch) -> Pin:
    return Pin(str(batch.approach), batch.machine.name, batch.charge_g / 1000)


def in_the_drum(day: DayPlan) -> list[Batch]:
    """Return batches of the day's plan that are charged and not weighed yet."""
    return list(
        Batch.objects.filter(
            planned__day_batch__day=day, roasted_g__isnull=True, void=False
        ).select_related("approach_version__approach__lot", "machine")
    )
