"""The tables that go in and out of an installation, for pages and for the command line alike.

Each app lists its own as ``DOORS`` in ``tables.py``; ``coupage.web.tables`` knows all of them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db.models import Model

from coupage.errors import FileProblem
from coupage.sheets import Layout, Table
from coupage.web.common.exchange import Exchange

__all__ = ["Door", "kilograms", "numbered", "problems_of", "rows_said"]


@dataclass(frozen=True, slots=True)
class Door:
    """One table: how it is laid out, its rows, and how a file of it comes in (None: only out)."""

    name: str
    layout: Callable[[], Layout]
    rows: Callable[[], Iterable[Mapping[str, object]]]
    exchange: Exchange | None = None


def kilograms(mass_g: int | None) -> Decimal | None:
    """Write stored grams as kilograms, exactly."""
    return None if mass_g is None else Decimal(mass_g) / 1000


def numbered(table: Table) -> Iterator[tuple[int, dict[str, object]]]:
    """Give each row with its number in the file."""
    return zip(table.row_numbers, table.rows, strict=True)  # type: ignore[arg-type]


def problems_of(
    thing: Model,
    row: int,
    columns: Mapping[str, str],
    exclude: Iterable[str] = (),
    *,
    unique: bool = True,
) -> list[FileProblem]:
    """Say what a model's own rules have against a row, under the file's column names."""
    try:
        thing.full_clean(exclude=set(exclude), validate_unique=unique, validate_constraints=unique)
    except ValidationError as problem:
        return [
            FileProblem(row, columns.get(field, ""), " ".join(error.messages))
            for field, errors in problem.error_dict.items()
            for error in errors
        ]
    return []


def rows_said(count: int, one: str, more: str) -> str:
    """Say a count: ``3 new lots``, ``1 new lot``."""
    return f"{count} {one if count == 1 else more}"
