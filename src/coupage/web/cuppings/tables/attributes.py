"""Attributes as a table."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from coupage.errors import FileProblem
from coupage.sheets import Column, Layout, Table
from coupage.web.common.doors import numbered, problems_of, rows_said
from coupage.web.common.exchange import Exchange, Plan
from coupage.web.cuppings.actions.settings import add_attribute, change_attribute
from coupage.web.cuppings.models import Attribute
from coupage.web.cuppings.names import attribute_problem
from coupage.web.people.models import Person

_COLUMNS = {
    "name": "attribute",
    "kind": "kind",
    "low_word": "word at 0",
    "high_word": "word at 10",
    "tolerance": "same within",
    "order": "order",
    "standard": "on every new table",
    "archived": "put away",
}


def attributes_layout() -> Layout:
    return Layout(
        "attributes",
        (
            Column("attribute", "text", aliases=("name",), help="Each name once."),
            Column(
                "kind",
                "choice",
                required=False,
                choices=tuple(Attribute.Kind.values),
                default=Attribute.Kind.INTENSITY.value,
            ),
            Column("word at 0", "text", required=False, default="none"),
            Column("word at 10", "text", required=False, default="very strong"),
            Column(
                "same within",
                "number",
                required=False,
                low=Decimal("0.1"),
                high=5,
                unit="points",
                default=Decimal("1.0"),
                aliases=("tolerance",),
                help="The difference that you call the same.",
            ),
            Column("order", "integer", required=False, low=0, high=32_767, default=100),
            Column("on every new table", "yes-no", required=False, default=True),
            Column("put away", "yes-no", required=False, default=False),
        ),
        key=("attribute",),
        description="What tasters rate from 0 to 10. An attribute that is known is changed.",
    )


def _of(row: dict[str, Any], attribute: Attribute) -> Attribute:
    for field, column in _COLUMNS.items():
        setattr(attribute, field, row[column])
    return attribute


def _values(attribute: Attribute) -> list[object]:
    return [getattr(attribute, field) for field in _COLUMNS]


def _plan(table: Table) -> Plan:
    known = {attribute.name: attribute for attribute in Attribute.objects.all()}
    problems: list[FileProblem] = []
    new = changed = 0
    for number, row in numbered(table):
        name = str(row["attribute"])
        there = known.get(name)
        new += there is None
        if there is None:
            wrong = attribute_problem(name, [*known])
            if wrong:
                problems.append(FileProblem(number, "attribute", wrong))
        else:
            changed += _values(there) != _values(_of(row, Attribute()))
        made = _of(row, Attribute())
        problems += problems_of(made, number, _COLUMNS, unique=False)
    return Plan(
        (
            rows_said(new, "new attribute", "new attributes"),
            rows_said(changed, "known attribute changes", "known attributes change"),
        ),
        tuple(problems),
    )


def _apply(table: Table, *, by: Person, at: dt.datetime) -> str:
    known = {attribute.name: attribute for attribute in Attribute.objects.all()}
    for row in table.rows:
        there = known.get(str(row["attribute"]))
        if there is None:
            add_attribute(attribute=_of(row, Attribute()), by=by, at=at)
        elif _values(there) != _values(_of(row, Attribute())):
            change_attribute(attribute=_of(row, there), by=by, at=at)
    return f"{rows_said(len(table.rows), 'attribute is', 'attributes are')} in."


def attribute_rows() -> Iterator[dict[str, object]]:
    for attribute in Attribute.objects.all():
        yield {column: getattr(attribute, field) for field, column in _COLUMNS.items()}


ATTRIBUTES = Exchange(
    "attributes",
    "Import attributes",
    attributes_layout,
    _plan,
    _apply,
    "cuppings:attributes",
)
