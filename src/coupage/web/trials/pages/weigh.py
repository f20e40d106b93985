"""The weighing sheet of a plan before it has codes: grams into each cup, grams to pull."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from coupage.table import Weighing, pull_grams, weigh
from coupage.units import PPM
from coupage.web.blends.queries import newest_usable_batches
from coupage.web.common.dates import day_text
from coupage.web.cuppings.columns import component_name
from coupage.web.cuppings.models import Protocol
from coupage.web.trials.design import Shares
from coupage.web.trials.models import Plan
from coupage.web.trials.pages.plan import shares_of

__all__ = ["Pull", "Sheet", "SheetRow", "sheet_of"]


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One sample, each of its cups weighed alike."""

    number: int
    cups: int
    again: int | None  # the sample that this one repeats
    parts: tuple[tuple[str, str, str, str], ...]  # coffee, wanted, grams into a cup, achieved


@dataclass(frozen=True, slots=True)
class Pull:
    coffee: str
    batch: str
    roasted: str
    grams: str


@dataclass(frozen=True, slots=True)
class Sheet:
    plan: Plan
    rows: tuple[SheetRow, ...]
    pulls: tuple[Pull, ...]
    dose: str
    water: str
    water_in_all: str
    cups: int
    resolution: str
    purge: str
    warnings: tuple[str, ...]


def sheet_of(plan: Plan, protocol: Protocol, resolution_g: Decimal, purge_g: Decimal) -> Sheet:
    """Work out what to weigh.

    Raises
    ------
    InputError
        When a cup is smaller than one step of the scale.
    """
    coffees = [coffee.approach for coffee in plan.coffees.all()]
    weighings, rows, warnings = [], [], []
    first: dict[Shares, int] = {}
    for trial in plan.trials.all():
        own = shares_of(plan, trial)
        again = first.get(own)
        first.setdefault(own, trial.number)
        named = {
            component_name(approach): share / PPM
            for approach, share in zip(coffees, own, strict=True)
            if share
        }
        weighing = weigh(
            list(named.values()),
            protocol.dose_mg / 1000,
            plan.cups,
            float(resolution_g),
            names=list(named),
        )
        weighings.append(weighing)
        rows.append(SheetRow(trial.number, plan.cups, again, _parts(weighing)))
        warnings += [f"Sample {trial.number}. {said}" for said in weighing.warnings]
    cups = plan.cups * len(rows)
    return Sheet(
        plan=plan,
        rows=tuple(rows),
        pulls=_pulls(plan, weighings, float(purge_g)),
        dose=f"{weighings[0].cup_grams:g} g" if weighings else "–",
        water=f"{protocol.water_g} g",
        water_in_all=f"{protocol.water_g * cups / 1000:.1f} kg",
        cups=cups,
        resolution=f"{resolution_g:g} g",
        purge=f"{purge_g:g} g",
        warnings=tuple(warnings),
    )


def _parts(weighing: Weighing) -> tuple[tuple[str, str, str, str], ...]:
    places = max(0, -Decimal(repr(weighing.resolution_grams)).normalize().as_tuple().exponent)  # type: ignore[operator]
    return tuple(
        (name, f"{100 * wanted:g} %", f"{grams:.{places}f} g", f"{100 * achieved:.1f} %")
        for name, wanted, grams, achieved in zip(
            weighing.names, weighing.wanted, weighing.grams, weighing.achieved, strict=True
        )
    )


def _pulls(plan: Plan, weighings: list[Weighing], purge_g: float) -> tuple[Pull, ...]:
    coffees = {component_name(c.approach): c.approach for c in plan.coffees.all()}
    batches = newest_usable_batches(list(coffees.values()))
    found = []
    for name, grams in pull_grams(weighings, purge_grams=purge_g).items():
        batch = next(iter(batches[coffees[name].pk]), None)
        found.append(
            Pull(
                name,
                batch.number if batch else "",
                f"{day_text(batch.roasted_at)}" if batch else "",
                f"{grams:.1f} g",
            )
        )
    return tuple(found)
