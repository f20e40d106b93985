"""Briefs as a table: one row a want."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from coupage.errors import FileProblem
from coupage.sheets import Column, Layout, Table
from coupage.units import PPM
from coupage.web.blends import actions, queries
from coupage.web.blends.models import Brief, Service, Want
from coupage.web.common.doors import numbered, problems_of, rows_said
from coupage.web.common.exchange import Exchange, Plan
from coupage.web.cuppings.models import Attribute
from coupage.web.people.models import Person


def briefs_layout() -> Layout:
    def end(name: str) -> Column:
        return Column(name, "number", required=False, low=0, high=10)

    return Layout(
        "briefs",
        (
            Column("brief", "text"),
            Column("served", "choice", choices=tuple(Service.values)),
            Column("attribute", "text"),
            Column("kind", "choice", choices=tuple(Want.Kind.values)),
            end("low"),
            end("high"),
            Column(
                "importance",
                "number",
                required=False,
                low=Decimal("0.1"),
                high=10,
                default=Decimal(1),
            ),
            Column("must", "yes-no", required=False, default=False),
            Column("cost cap", "number", required=False, low=Decimal("0.01")),
            Column("most coffees", "integer", required=False, low=1, high=6, default=4),
            Column("least share", "share", required=False, default=Decimal("0.05")),
        ),
        key=("brief", "attribute", "kind"),
        description="Briefs, one row a want. A brief that is known already gets these wants.",
    )


def _brief_of(row: dict[str, Any], brief: Brief) -> Brief:
    brief.name, brief.service, brief.cost_cap = row["brief"], row["served"], row["cost cap"]
    brief.max_components = row["most coffees"]
    brief.min_share_ppm = int(row["least share"] * PPM)
    return brief


def _want_of(row: dict[str, Any], attribute: Attribute | None) -> Want:
    return Want(
        attribute=attribute,
        kind=row["kind"],
        low=row["low"],
        high=row["high"],
        importance=row["importance"],
        must=row["must"],
    )


def _plan_briefs(table: Table) -> Plan:
    attributes = {attribute.name: attribute for attribute in Attribute.objects.all()}
    known = set(Brief.objects.values_list("name", flat=True))
    first: dict[str, tuple[int, dict[str, Any]]] = {}
    problems: list[FileProblem] = []
    same = ("served", "cost cap", "most coffees", "least share")
    for number, row in numbered(table):
        name = str(row["brief"])
        at, one = first.setdefault(name, (number, row))
        problems += [
            FileProblem(number, column, f"differs from row {at} of the same brief")
            for column in same
            if row[column] != one[column]
        ]
        if row["attribute"] not in attributes:
            offered = ", ".join(sorted(attributes))
            problems.append(
                FileProblem(number, "attribute", f"{row['attribute']!r} is not one of {offered}")
            )
        problems += _end_problems(number, row)
        if number == at:
            columns = {"name": "brief", "cost_cap": "cost cap", "min_share_ppm": "least share"}
            problems += problems_of(_brief_of(row, Brief()), number, columns, unique=False)
    new = len(set(first) - known)
    return Plan(
        (
            rows_said(new, "new brief", "new briefs"),
            rows_said(len(first) - new, "known brief changes", "known briefs change"),
        ),
        tuple(problems),
    )


def _end_problems(number: int, row: dict[str, Any]) -> list[FileProblem]:
    found, low, high = [], row["low"], row["high"]
    if row["kind"] != Want.Kind.AT_MOST and low is None:
        found.append(FileProblem(number, "low", f"{row['kind']!r} needs a lower end"))
    if row["kind"] != Want.Kind.AT_LEAST and high is None:
        found.append(FileProblem(number, "high", f"{row['kind']!r} needs an upper end"))
    if low is not None and high is not None and low >= high:
        found.append(FileProblem(number, "high", f"must be more than {low}"))
    return found


def _apply_briefs(table: Table, *, by: Person, at: dt.datetime) -> str:
    attributes = {attribute.name: attribute for attribute in Attribute.objects.all()}
    gathered: dict[str, list[dict[str, Any]]] = {}
    for row in table.rows:
        gathered.setdefault(str(row["brief"]), []).append(row)
    for name, rows in gathered.items():
        wants = [_want_of(row, attributes[row["attribute"]]) for row in rows]
        there = Brief.objects.filter(name=name).first()
        brief = _brief_of(rows[0], there or Brief())
        if there is None:
            actions.add_brief(brief=brief, wants=wants, by=by, at=at)
        else:
            actions.change_brief(brief=brief, wants=wants, revision=there.revision, by=by, at=at)
    return f"{rows_said(len(gathered), 'brief is', 'briefs are')} in."


def brief_rows() -> Iterator[dict[str, object]]:
    for brief in queries.briefs().order_by("name"):
        for want in brief.wants.all():
            yield {
                "brief": brief.name,
                "served": brief.service,
                "attribute": want.attribute.name,
                "kind": want.kind,
                "low": want.low,
                "high": want.high,
                "importance": want.importance,
                "must": want.must,
                "cost cap": brief.cost_cap,
                "most coffees": brief.max_components,
                "least share": Decimal(brief.min_share_ppm) / PPM,
            }


BRIEFS = Exchange(
    "briefs", "Import briefs", briefs_layout, _plan_briefs, _apply_briefs, "blends:briefs"
)
