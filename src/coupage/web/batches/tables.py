"""Machines and batches as tables that come in and go out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from django.utils import timezone

from coupage.errors import FileProblem
from coupage.sheets import Column, Layout, Table
from coupage.units import grams
from coupage.web.batches import actions, queries
from coupage.web.batches.models import Batch, Machine
from coupage.web.coffees.models import ApproachVersion
from coupage.web.coffees.queries import newest_versions
from coupage.web.common.doors import Door, kilograms, numbered, problems_of, rows_said
from coupage.web.common.exchange import Exchange, Plan
from coupage.web.people.models import Person

__all__ = ["BATCHES", "DOORS", "MACHINES", "batches_layout", "machines_layout"]

_MACHINE = {
    "name": "machine",
    "site": "site",
    "least_charge_g": "least charge",
    "largest_charge_g": "largest charge",
    "minutes": "batch time",
    "change_minutes": "change time",
}
_BATCH = {
    "number": "batch",
    "roasted_at": "roasted at",
    "green_g": "green in",
    "roasted_g": "roasted out",
    "seconds": "roast time",
    "first_crack_s": "first crack",
    "end_temperature_c": "end temperature",
    "colour": "colour",
    "colour_scale": "colour scale",
    "colour_ground": "colour on ground",
    "note": "note",
}


def machines_layout() -> Layout:
    return Layout(
        "machines",
        (
            Column("machine", "text", aliases=("name",)),
            Column("site", "text", required=False, default=""),
            Column("least charge", "number", unit="kg", low=Decimal("0.001")),
            Column("largest charge", "number", unit="kg", low=Decimal("0.001")),
            Column("batch time", "integer", required=False, unit="min", low=1, high=240),
            Column("change time", "integer", required=False, unit="min", low=0, high=240),
        ),
        key=("machine",),
        description="Roasting machines and the charges they take.",
    )


def _machine_of(row: dict[str, Any], machine: Machine) -> Machine:
    machine.name, machine.site = row["machine"], row["site"]
    machine.least_charge_g = grams(row["least charge"])
    machine.largest_charge_g = grams(row["largest charge"])
    if row["batch time"] is not None:
        machine.minutes = row["batch time"]
    if row["change time"] is not None:
        machine.change_minutes = row["change time"]
    return machine


def _plan_machines(table: Table) -> Plan:
    known = {machine.name: machine for machine in Machine.objects.all()}
    problems: list[FileProblem] = []
    for number, row in numbered(table):
        there = known.get(str(row["machine"]))
        machine = _machine_of(row, there or Machine())
        if machine.least_charge_g > machine.largest_charge_g:
            problems.append(
                FileProblem(number, "largest charge", "must be at least the least charge")
            )
        problems += problems_of(machine, number, _MACHINE, unique=False)
    new = sum(str(row["machine"]) not in known for row in table.rows)
    return Plan((rows_said(new, "new machine", "new machines"),), tuple(problems))


def _apply_machines(table: Table, *, by: Person, at: dt.datetime) -> str:
    known = {machine.name: machine for machine in Machine.objects.all()}
    for row in table.rows:
        there = known.get(str(row["machine"]))
        if there is None:
            actions.add_machine(machine=_machine_of(row, Machine()), by=by, at=at)
        else:
            actions.change_machine(
                machine=_machine_of(row, there), revision=there.revision, by=by, at=at
            )
    return f"{rows_said(len(table.rows), 'machine is', 'machines are')} in."


def machine_rows() -> Iterator[dict[str, object]]:
    for machine in Machine.objects.order_by("name"):
        yield {
            "machine": machine.name,
            "site": machine.site,
            "least charge": kilograms(machine.least_charge_g),
            "largest charge": kilograms(machine.largest_charge_g),
            "batch time": machine.minutes,
            "change time": machine.change_minutes,
        }


def batches_layout() -> Layout:
    return Layout(
        "batches",
        (
            Column("batch", "text", aliases=("number",)),
            Column("lot", "text"),
            Column("approach", "text"),
            Column("machine", "text", required=False, default=""),
            Column("roasted at", "datetime", aliases=("roasted", "date")),
            Column("green in", "number", unit="kg", low=Decimal("0.001"), aliases=("green",)),
            Column(
                "roasted out",
                "number",
                required=False,
                unit="kg",
                low=Decimal("0.001"),
                aliases=("roasted kg",),
            ),
            Column("roast time", "integer", required=False, unit="s", low=1, high=7200),
            Column("first crack", "integer", required=False, unit="s", low=1, high=7200),
            Column("end temperature", "number", required=False, unit="°C", low=100, high=300),
            Column("colour", "number", required=False),
            Column("colour scale", "text", required=False, default=""),
            Column("colour on ground", "yes-no", required=False, default=True),
            Column("note", "text", required=False, default=""),
        ),
        key=("batch",),
        description="Roasts. Known batches are not changed by a file; correct them on their page.",
    )


def _batch_of(row: dict[str, Any]) -> Batch:
    values = {field: row[column] for field, column in _BATCH.items()}
    out, at = row["roasted out"], row["roasted at"]
    return Batch(
        **(
            values
            | {
                "green_g": grams(row["green in"]),
                "roasted_g": None if out is None else grams(out),
                "roasted_at": timezone.make_aware(at) if timezone.is_naive(at) else at,
            }
        )
    )


def _versions() -> dict[tuple[str, str], ApproachVersion]:
    return {(v.approach.lot.name, v.approach.name): v for v in newest_versions()}


def _plan_batches(table: Table) -> Plan:
    versions, machines = _versions(), {machine.name for machine in queries.machines()}
    known = set(Batch.objects.values_list("number", flat=True))
    problems: list[FileProblem] = []
    for number, row in numbered(table):
        if row["batch"] in known:
            problems.append(
                FileProblem(
                    number, "batch", f"batch {row['batch']} is known already; take this row out"
                )
            )
        lot, approach = str(row["lot"]), str(row["approach"])
        if (lot, approach) not in versions:
            lots = {name for name, _ in versions}
            offered = ", ".join(sorted(a for name, a in versions if name == lot))
            problems.append(
                FileProblem(number, "approach", f"{lot} has no approach {approach!r}: {offered}")
                if lot in lots
                else FileProblem(number, "lot", f"there is no lot {lot!r} with an approach")
            )
        if row["machine"] and row["machine"] not in machines:
            problems.append(
                FileProblem(number, "machine", f"there is no machine {row['machine']!r}")
            )
        problems += _mass_problems(number, row)
        problems += problems_of(
            _batch_of(row), number, _BATCH, exclude=["approach_version"], unique=False
        )
    return Plan((rows_said(len(table.rows), "new batch", "new batches"),), tuple(problems))


def _mass_problems(number: int, row: dict[str, Any]) -> list[FileProblem]:
    found = []
    if row["roasted out"] is not None and row["roasted out"] > row["green in"]:
        found.append(FileProblem(number, "roasted out", "more cannot come out than went in"))
    if row["colour"] is not None and not row["colour scale"]:
        found.append(FileProblem(number, "colour scale", "name the scale of the colour"))
    whole, crack = row["roast time"], row["first crack"]
    if whole is not None and crack is not None and crack > whole:
        found.append(FileProblem(number, "first crack", "comes after the end of the roast"))
    return found


def _apply_batches(table: Table, *, by: Person, at: dt.datetime) -> str:
    versions = _versions()
    machines = {machine.name: machine for machine in queries.machines()}
    for row in table.rows:
        batch = _batch_of(row)
        batch.approach_version = versions[str(row["lot"]), str(row["approach"])]
        batch.machine = machines.get(str(row["machine"]))
        actions.add_batch(batch=batch, by=by, at=at)
    return f"{rows_said(len(table.rows), 'batch is', 'batches are')} in."


def batch_rows() -> Iterator[dict[str, object]]:
    for batch in queries.batches().filter(void=False).order_by("roasted_at", "id"):
        approach = batch.approach_version.approach
        row: dict[str, object] = {column: getattr(batch, f) for f, column in _BATCH.items()}
        yield row | {
            "lot": approach.lot.name,
            "approach": approach.name,
            "machine": batch.machine.name if batch.machine else "",
            "roasted at": timezone.localtime(batch.roasted_at),
            "green in": kilograms(batch.green_g),
            "roasted out": kilograms(batch.roasted_g),
        }


MACHINES = Exchange(
    "machines",
    "Import machines",
    machines_layout,
    _plan_machines,
    _apply_machines,
    "batches:machines",
)
BATCHES = Exchange(
    "batches", "Import batches", batches_layout, _plan_batches, _apply_batches, "batches:index"
)
DOORS = (
    Door("machines", machines_layout, machine_rows, MACHINES),
    Door("batches", batches_layout, batch_rows, BATCHES),
)
