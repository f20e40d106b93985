"""Protocols as a table, one row a step."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from coupage.errors import FileProblem
from coupage.sheets import Column, Layout, Table
from coupage.web.common.doors import numbered, problems_of, rows_said
from coupage.web.common.exchange import Exchange, Plan
from coupage.web.cuppings.actions.settings import add_protocol, change_protocol
from coupage.web.cuppings.models import Protocol, ProtocolStep
from coupage.web.people.models import Person

__all__ = ["PROTOCOLS", "protocol_rows", "protocols_layout"]

_OWN = {
    "name": "protocol",
    "dose_mg": "dose",
    "water_g": "water",
    "water_c": "water temperature",
    "cups_per_sample": "cups per sample",
    "passes": "passes",
    "source": "source",
}
_STEP = {"order": "step number", "name": "step", "at_s": "at", "caution": "caution"}


def protocols_layout() -> Layout:
    return Layout(
        "protocols",
        (
            Column("protocol", "text", help="The same in all rows of one protocol."),
            Column("dose", "number", unit="g", low=Decimal("0.001"), help="Coffee in a cup."),
            Column("water", "integer", unit="g", low=1, help="Water in a cup."),
            Column(
                "water temperature",
                "number",
                required=False,
                unit="°C",
                low=1,
                high=100,
                default=Decimal(93),
            ),
            Column("cups per sample", "integer", required=False, low=1, high=10, default=1),
            Column("passes", "text", required=False, default="taste"),
            Column("source", "text", required=False, default=""),
            Column("step number", "integer", required=False, low=1, high=100),
            Column("step", "text", required=False, default=""),
            Column("at", "integer", required=False, unit="s", low=0, help="After the pour."),
            Column("caution", "text", required=False, default=""),
        ),
        key=("protocol", "step number"),
        description="How tables are prepared. A protocol that is known gets these steps.",
    )


def _protocol_of(row: dict[str, Any], protocol: Protocol) -> Protocol:
    for field, column in _OWN.items():
        setattr(protocol, field, row[column])
    protocol.dose_mg = int(row["dose"] * 1000)
    return protocol


def _step_of(row: dict[str, Any]) -> ProtocolStep:
    return ProtocolStep(name=row["step"], at_s=row["at"], caution=row["caution"])


def _plan(table: Table) -> Plan:
    known = set(Protocol.objects.values_list("name", flat=True))
    first: dict[str, tuple[int, dict[str, Any]]] = {}
    problems: list[FileProblem] = []
    for number, values in numbered(table):
        row: dict[str, Any] = values
        at, one = first.setdefault(row["protocol"], (number, row))
        problems += [
            FileProblem(number, column, f"differs from row {at} of the same protocol")
            for column in _OWN.values()
            if row[column] != one[column]
        ]
        if number == at:
            problems += problems_of(_protocol_of(row, Protocol()), number, _OWN, unique=False)
        if row["step"]:
            problems += problems_of(
                _step_of(row), number, _STEP, exclude=["protocol", "order"], unique=False
            )
            if row["step number"] is None:
                problems.append(FileProblem(number, "step number", "number the steps from 1"))
        elif row["step number"] is not None:
            problems.append(FileProblem(number, "step", "name the step, or empty its number"))
    new = len(set(first) - known)
    return Plan(
        (
            rows_said(new, "new protocol", "new protocols"),
            rows_said(len(first) - new, "known protocol is set", "known protocols are set"),
        ),
        tuple(problems),
    )


def _apply(table: Table, *, by: Person, at: dt.datetime) -> str:
    known = {protocol.name: protocol for protocol in Protocol.objects.all()}
    gathered: dict[str, list[dict[str, Any]]] = {}
    for row in table.rows:
        gathered.setdefault(str(row["protocol"]), []).append(dict(row))
    for name, rows in gathered.items():
        ordered = sorted((r for r in rows if r["step"]), key=lambda r: r["step number"])
        steps = [_step_of(row) for row in ordered]
        there = known.get(name)
        protocol = _protocol_of(rows[0], there or Protocol())
        write = add_protocol if there is None else change_protocol
        write(protocol=protocol, steps=steps, by=by, at=at)
    return f"{rows_said(len(gathered), 'protocol is', 'protocols are')} in."


def protocol_rows() -> Iterator[dict[str, object]]:
    for protocol in Protocol.objects.filter(archived=False).prefetch_related("steps"):
        own: dict[str, object] = {column: getattr(protocol, f) for f, column in _OWN.items()}
        own["dose"] = Decimal(protocol.dose_mg) / 1000
        steps = list(protocol.steps.all())
        for number, step in enumerate(steps, 1):
            yield own | {
                "step number": number,
                "step": step.name,
                "at": step.at_s,
                "caution": step.caution,
            }
        if not steps:
            yield own | {"step number": None, "step": "", "at": None, "caution": ""}


PROTOCOLS = Exchange(
    "protocols", "Import protocols", protocols_layout, _plan, _apply, "cuppings:protocols"
)
