"""Approaches and their newest targets as a table."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from coupage.errors import FileProblem
from coupage.sheets import Column, Layout, Table
from coupage.units import grams
from coupage.web.coffees import actions, queries
from coupage.web.coffees.models import ApproachVersion, Lot
from coupage.web.common.doors import kilograms, numbered, problems_of, rows_said
from coupage.web.common.exchange import Exchange, Plan
from coupage.web.people.models import Person

_TARGETS = {
    "since": "since",
    "charge_g": "charge",
    "loss_pct": "loss",
    "loss_tolerance_pct": "loss within",
    "colour_scale": "colour scale",
    "colour": "colour",
    "colour_tolerance": "colour within",
    "seconds": "roast time",
    "seconds_tolerance": "roast time within",
    "end_temperature_c": "end temperature",
    "end_temperature_tolerance_c": "end temperature within",
    "note": "note",
}


def approaches_layout() -> Layout:
    def number(name: str, unit: str, default: Decimal | None = None, **more: Any) -> Column:
        return Column(name, "number", required=False, unit=unit, default=default, **more)

    def whole(name: str, default: int | None = None) -> Column:
        return Column(name, "integer", required=False, unit="s", default=default, low=1)

    return Layout(
        "approaches",
        (
            Column("lot", "text"),
            Column("approach", "text"),
            Column("since", "date"),
            number("charge", "kg", low=Decimal("0.001")),
            number("loss", "%", low=0, high=59.9),
            number("loss within", "points", Decimal("0.5"), low=Decimal("0.1")),
            Column("colour scale", "text", required=False, default=""),
            number("colour", ""),
            number("colour within", "units", Decimal(2), low=Decimal("0.1")),
            whole("roast time"),
            whole("roast time within", 15),
            number("end temperature", "°C", low=100, high=300),
            number("end temperature within", "°C", Decimal(1), low=Decimal("0.1")),
            Column("note", "text", required=False, default=""),
        ),
        key=("lot", "approach"),
        description="Ways of roasting and their newest targets; changed ones are a new version.",
    )


def _version_of(row: dict[str, Any]) -> ApproachVersion:
    values = {field: row[column] for field, column in _TARGETS.items()}
    charge = values["charge_g"]
    return ApproachVersion(**(values | {"charge_g": None if charge is None else grams(charge)}))


def _targets(version: ApproachVersion) -> list[object]:
    return [getattr(version, field) for field in _TARGETS if field != "since"]


def _newest() -> dict[tuple[str, str], ApproachVersion]:
    return {
        (version.approach.lot.name, version.approach.name): version
        for version in queries.newest_versions()
    }


def _plan_approaches(table: Table) -> Plan:
    lots = set(Lot.objects.values_list("name", flat=True))
    known = _newest()
    problems: list[FileProblem] = []
    new = changed = 0
    for number, row in numbered(table):
        if row["lot"] not in lots:
            problems.append(FileProblem(number, "lot", f"there is no lot {row['lot']!r}"))
        version = _version_of(row)
        if version.colour is not None and not version.colour_scale:
            problems.append(FileProblem(number, "colour scale", "name the scale of the colour"))
        else:
            problems += problems_of(
                version, number, _TARGETS, exclude=["approach", "number"], unique=False
            )
        there = known.get((str(row["lot"]), str(row["approach"])))
        new += there is None
        changed += there is not None and _targets(there) != _targets(version)
    return Plan(
        (
            rows_said(new, "new approach", "new approaches"),
            rows_said(changed, "approach gets new targets", "approaches get new targets"),
        ),
        tuple(problems),
    )


def _apply_approaches(table: Table, *, by: Person, at: dt.datetime) -> str:
    lots = {lot.name: lot for lot in Lot.objects.all()}
    known = _newest()
    for row in table.rows:
        lot, name, version = str(row["lot"]), str(row["approach"]), _version_of(row)
        there = known.get((lot, name))
        if there is None:
            actions.add_approach(lot=lots[lot], name=name, version=version, by=by, at=at)
        elif _targets(there) != _targets(version):
            actions.add_approach_version(approach=there.approach, version=version, by=by, at=at)
    return f"{rows_said(len(table.rows), 'approach is', 'approaches are')} in."


def approach_rows() -> Iterator[dict[str, object]]:
    for version in queries.newest_versions():
        row: dict[str, object] = {
            column: getattr(version, field) for field, column in _TARGETS.items()
        }
        yield {
            "lot": version.approach.lot.name,
            "approach": version.approach.name,
            **row,
            "charge": kilograms(version.charge_g),
        }


APPROACHES = Exchange(
    "approaches",
    "Import approaches",
    approaches_layout,
    _plan_approaches,
    _apply_approaches,
    "coffees:index",
)
