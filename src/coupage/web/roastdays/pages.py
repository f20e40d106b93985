"""All that the pages about roast days show."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Q, Sum
from django.http import Http404

from coupage.units import MassUnit, show_bag, show_mass
from coupage.web.batches.models import Machine
from coupage.web.common.dates import day_text
from coupage.web.common.listing import Listing
from coupage.web.common.requests import Request
from coupage.web.people import history
from coupage.web.people.models import Change
from coupage.web.people.queries import roastery
from coupage.web.roastdays.forms import AddBatchForm, PinForm
from coupage.web.roastdays.models import DayBatch, DayPlan
from coupage.web.roastdays.timeline import Block, Lane, Timeline

__all__ = ["DayPage", "Line", "SheetPage", "day_page", "days_list", "sheet_page"]


@dataclass(frozen=True, slots=True)
class Line:
    """One batch as the table and the sheet show it."""

    number: int
    batch: DayBatch
    slot: int
    coffee: str
    machine: str
    starts: str
    ends: str
    charge: str
    expected: str
    state: str
    roasted: str
    form: PinForm | None


@dataclass(frozen=True, slots=True)
class Way:
    sentence: str
    price: str


@dataclass(frozen=True, slots=True)
class DayPage:
    day: DayPlan
    working: bool
    sentence: str
    note: str
    problem: str
    lines: tuple[Line, ...]
    timeline: Timeline | None
    ways: tuple[Way, ...]
    unmet: tuple[tuple[str, str], ...]
    surplus: tuple[tuple[str, str], ...]
    green: tuple[tuple[str, str], ...]
    left_out: tuple[str, ...]
    faults: tuple[str, ...]
    told: tuple[tuple[str, str], ...]
    facts: tuple[tuple[str, str], ...]
    mended: str
    add: AddBatchForm
    sheets: tuple[Machine, ...]
    changes: tuple[Change, ...]
    can_edit: bool


def days_list(request: Request) -> Listing[DayPlan]:
    """Return the days with how much is planned on them."""
    return Listing.of(
        request,
        DayPlan.objects.annotate(
            count=Count("batches"),
            charged=Count("batches", filter=Q(batches__planned__batch__isnull=False)),
            green_g=Sum("batches__charge_g"),
        ),
        sorts={"on": "on", "count": ("count", "on")},
        default="-on",
        search=("note",),
    )


def _rows(pk: int) -> tuple[DayPlan, list[DayBatch]]:
    day = DayPlan.objects.filter(pk=pk).first()
    if day is None:
        raise Http404("There is no such roast day.")
    rows = day.batches.exclude(planned__dropped=True).select_related(
        "approach__lot", "machine", "planned__batch"
    )
    return day, sorted(rows, key=lambda r: (r.machine.name, r.start_minute, r.pk))


def day_page(request: Request, pk: int) -> DayPage:
    """Return one day's page, or 404."""
    day, rows = _rows(pk)
    unit: MassUnit = request.user.mass_unit  # type: ignore[assignment]
    found: dict[str, Any] = day.found
    working = day.asked_at is not None
    can_edit = day.sent_at is None and day.closed_at is None and not working
    lines = _lines(day, rows, unit, can_edit=can_edit)
    return DayPage(
        day=day,
        working=working,
        sentence=_sentence(day, rows, unit),
        note=_safety_note(day),
        problem="" if working else str(found.get("problem", "")),
        lines=lines,
        timeline=_timeline(day, lines) if lines else None,
        ways=tuple(_way(way) for way in found.get("ways", ())),
        unmet=_masses(found.get("unmet_kg", {}), unit),
        surplus=_masses(found.get("surplus_kg", {}), unit),
        green=_masses(found.get("green_kg", {}), unit),
        left_out=tuple(found.get("left_out", ())),
        faults=tuple(found.get("faults", ())),
        told=tuple(_goal(goal) for goal in found.get("told", ())),
        facts=_facts(day, unit),
        mended=str(found.get("mended", "")),
        add=AddBatchForm(unit=unit, prefix="add"),
        sheets=tuple({row.machine for row in rows}),
        changes=tuple(history.of(day)[:20]),
        can_edit=can_edit,
    )


def _clock(day: DayPlan, minute: float) -> str:
    whole = day.starts_at.hour * 60 + day.starts_at.minute + round(minute)
    return f"{whole // 60 % 24}:{whole % 60:02d}"


def _lines(
    day: DayPlan, rows: list[DayBatch], unit: MassUnit, *, can_edit: bool = False
) -> tuple[Line, ...]:
    slots = {key: n for n, key in enumerate(dict.fromkeys(row.approach_id for row in rows), 1)}
    return tuple(
        Line(
            number=number,
            batch=row,
            slot=(slots[row.approach_id] - 1) % 8 + 1,
            coffee=str(row.approach),
            machine=row.machine.name,
            starts=_clock(day, row.start_minute),
            ends=_clock(day, row.end_minute),
            charge=show_mass(row.charge_g, unit),
            expected=show_mass(row.expected_g, unit),
            state=_state(row),
            roasted=_roasted(row, unit),
            form=PinForm(
                unit=unit,
                prefix=f"b{row.pk}",
                initial={"machine": row.machine_id, "charge_g": row.charge_g},
            )
            if can_edit
            else None,
        )
        for number, row in enumerate(rows, 1)
    )


def _state(row: DayBatch) -> str:
    if row.planned is None:
        return "pinned" if row.pinned else "planned"
    batch = row.planned.batch
    if batch is None:
        return "at the machine"
    return "in the drum" if batch.roasted_g is None else f"roasted, {batch.number}"


def _roasted(row: DayBatch, unit: MassUnit) -> str:
    batch = row.planned.batch if row.planned else None
    return show_mass(batch.roasted_g, unit) if batch and batch.roasted_g else ""


def _timeline(day: DayPlan, lines: tuple[Line, ...]) -> Timeline:
    lanes = []
    for name in dict.fromkeys(line.machine for line in lines):
        here = [line for line in lines if line.machine == name]
        busy = max(line.batch.end_minute for line in here)
        blocks = tuple(
            Block(
                number=line.number,
                slot=line.slot,
                start=line.batch.start_minute,
                end=line.batch.end_minute,
                said=f"{line.number}: {line.coffee}, {line.charge}, {line.starts} to {line.ends}",
                done=bool(line.roasted),
                pinned=line.batch.pinned,
            )
            for line in here
        )
        lanes.append(Lane(name, blocks, f"until {_clock(day, busy)}"))
    return Timeline(lanes, day.starts_at, float(day.hours) * 60)


def _sentence(day: DayPlan, rows: list[DayBatch], unit: MassUnit) -> str:
    found: dict[str, Any] = day.found
    if day.asked_at is not None:
        return "The plan is being worked out."
    if "status" not in found:
        return "There is no plan yet."
    if not found.get("orders"):
        return f"Nothing is ordered for {day_text(day.until)} or before; nothing has to be roasted."
    if not rows:
        return "What is roasted already meets every order; nothing has to be roasted."
    batches = "1 batch" if len(rows) == 1 else f"{len(rows)} batches"
    ordered = show_mass(round(1000 * found["ordered_kg"]), unit)
    if found.get("unmet_kg"):
        missing = show_mass(round(1000 * sum(found["unmet_kg"].values())), unit)
        return f"Not every order can be met: {missing} of {ordered} stay undone with {batches}."
    over = show_mass(round(1000 * sum(found["surplus_kg"].values())), unit)
    changes = found["changes"]
    turned = "no change" if not changes else "1 change" if changes == 1 else f"{changes} changes"
    stopped = " This is the best so far." if found["status"] == "stopped" else ""
    return (
        f"{batches} meet all orders, {ordered} roasted, with {turned} of coffee and {over} "
        f"beyond the orders.{stopped}"
    )


def _safety_note(day: DayPlan) -> str:
    if day.found.get("status") not in {"optimal", "stopped"} or day.asked_at is not None:
        return ""
    chance = f"{float(day.safety) * 100:.1f}".removesuffix(".0")
    note = f"It suffices with a chance of {chance} %, given how much losses differ."
    gap = day.found.get("gap")
    if day.found["status"] == "stopped" and gap is not None:
        note += f" A better plan could save at most {100 * gap:.0f} % of a goal."
    return note


def _way(way: dict[str, Any]) -> Way:
    said = str(way["sentence"])
    return Way(said[:1].upper() + said[1:], f"{way['price']:.0f} {roastery().currency}")


def _masses(masses: dict[str, float], unit: MassUnit) -> tuple[tuple[str, str], ...]:
    return tuple((name, show_mass(round(1000 * kg), unit)) for name, kg in masses.items())


def _goal(goal: dict[str, Any]) -> tuple[str, str]:
    """A goal of the search, with what was reached and how surely."""
    proven = "proven best" if goal["gap"] <= 1e-4 else f"at most {100 * goal['gap']:.1f} % better"
    return goal["goal"].capitalize(), f"{goal['value']:g} ({proven})"


def _facts(day: DayPlan, unit: MassUnit) -> tuple[tuple[str, str], ...]:
    stock = day.found.get("roasted_kg", {})
    return (
        ("Orders", f"{day.found.get('orders', 0)} due until {day_text(day.until)}"),
        ("First charge", f"{day.starts_at:%H:%M}"),
        ("Hours of roasting", f"{float(day.hours):g} h"),
        ("Roasted already", show_mass(round(1000 * sum(stock.values())), unit)),
        ("Note", day.note or "–"),
    )


@dataclass(frozen=True, slots=True)
class SheetLine:
    line: Line
    aims: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SheetPage:
    day: DayPlan
    machine: Machine
    lines: tuple[SheetLine, ...]
    green: tuple[tuple[str, str, str], ...]
    whole: str


def sheet_page(request: Request, pk: int, machine: int) -> SheetPage:
    """Return the roast sheet of one machine, or 404."""
    day, rows = _rows(pk)
    unit: MassUnit = request.user.mass_unit  # type: ignore[assignment]
    lines = [line for line in _lines(day, rows, unit) if line.batch.machine_id == machine]
    there = Machine.objects.filter(pk=machine).first()
    if there is None or not lines:
        raise Http404("Nothing is planned on this machine that day.")
    return SheetPage(
        day=day,
        machine=there,
        lines=tuple(SheetLine(line, _aims(line.batch)) for line in lines),
        green=_green(lines, unit),
        whole=show_mass(sum(line.batch.charge_g for line in lines), unit),
    )


def _aims(row: DayBatch) -> tuple[str, ...]:
    """What the approach wants of a batch, as the operator reads it."""
    aim = row.approach.versions.order_by("-number").first()
    if aim is None:
        return ()
    said = []
    if aim.seconds is not None:
        said.append(f"{aim.seconds // 60}:{aim.seconds % 60:02d} min")
    if aim.end_temperature_c is not None:
        said.append(f"{float(aim.end_temperature_c):g} °C")
    if aim.colour is not None:
        said.append(f"colour {float(aim.colour):g}")
    return tuple(said)


def _bags(mass_g: int, bag_g: int | None, unit: MassUnit) -> str:
    """How many bags to open: ``1 bag of 60 kg``."""
    if not bag_g:
        return ""
    count = -(-mass_g // bag_g)
    return f"{count} {'bag' if count == 1 else 'bags'} of {show_bag(bag_g, unit)}"


def _green(lines: list[Line], unit: MassUnit) -> tuple[tuple[str, str, str], ...]:
    """Green to bring to the machine: lot, mass, and in how many bags it lies."""
    totals: dict[Any, int] = {}
    for line in lines:
        lot = line.batch.approach.lot
        totals[lot] = totals.get(lot, 0) + line.batch.charge_g
    return tuple(
        (
            lot.name,
            show_mass(mass_g, unit),
            _bags(mass_g, lot.bag_g, unit),
        )
        for lot, mass_g in totals.items()
    )
