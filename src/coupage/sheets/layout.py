"""What a table must look like: its columns, their kinds and its key."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Literal, get_args

from coupage.errors import InputError

__all__ = ["Column", "Kind", "Layout", "Value"]

Kind = Literal["text", "number", "integer", "date", "datetime", "yes-no", "share", "choice"]
Value = str | Decimal | int | bool | date | datetime | None

_UNIT = re.compile(r"[(\[]\s*(?P<unit>[^)\]]*?)\s*[)\]]$")


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table.

    Parameters
    ----------
    name
        Heading that is written, and key of the value in a row that was read.
    kind
        ``text`` (str), ``number`` (Decimal), ``integer`` (int), ``date``, ``datetime``, ``yes-no``
        (bool), ``share`` (Decimal, a fraction of 1) or ``choice`` (one of ``choices``).
    required
        Whether an empty cell, or a file without the column, is refused.
    low, high
        Smallest and largest allowed value, both included. A share is held to 0..1 without them.
    unit
        Unit of a number; it may also stand in the heading, ``mass (kg)``, or behind a value.
    aliases
        Other headings that mean this column.
    default
        Value of an empty cell that is not required.

    Raises
    ------
    InputError
        When the description contradicts itself.
    """

    name: str
    kind: Kind
    required: bool = True
    help: str = ""
    choices: tuple[str, ...] = ()
    low: Decimal | float | date | None = None
    high: Decimal | float | date | None = None
    unit: str = ""
    aliases: tuple[str, ...] = ()
    default: Value = None

    def __post_init__(self) -> None:
        if self.kind not in get_args(Kind):
            raise InputError(
                f"kind: {self.kind!r} of column {self.name!r} is unknown; "
                f"use one of {', '.join(get_args(Kind))}"
            )
        if (self.kind == "choice") != bool(self.choices):
            raise InputError(
                f"choices: column {self.name!r} is of kind {self.kind}; "
                "give choices to a column of kind choice, and only there"
            )

    @property
    def headings(self) -> tuple[str, ...]:
        """Every heading that means this column, the name first."""
        return (self.name, *self.aliases)


@dataclass(frozen=True, slots=True)
class Layout:
    """A named table: its columns in writing order, and the columns that tell rows apart.

    Raises
    ------
    InputError
        When two columns share a heading or the key names no column.
    """

    name: str
    columns: tuple[Column, ...]
    key: tuple[str, ...] = ()
    description: str = ""

    def __post_init__(self) -> None:
        seen: dict[str, str] = {}
        for column in self.columns:
            for heading in {plain_heading(text) for text in column.headings}:
                if heading in seen:
                    raise InputError(
                        f"columns: {seen[heading]!r} and {column.name!r} of layout {self.name!r} "
                        f"both answer to the heading {heading!r}; rename one"
                    )
                seen[heading] = column.name
        missing = [name for name in self.key if name not in self.names]
        if missing:
            raise InputError(f"key: layout {self.name!r} has no column {missing[0]!r}")

    @property
    def names(self) -> tuple[str, ...]:
        """The columns' names in writing order."""
        return tuple(column.name for column in self.columns)

    def column(self, name: str) -> Column:
        """The column of that name."""
        for column in self.columns:
            if column.name == name:
                return column
        raise InputError(f"name: layout {self.name!r} has no column {name!r}")


def plain_heading(heading: str) -> str:
    """Strip a heading of everything that people vary: case, spaces, underscores, hyphens.

    >>> plain_heading(" Green_KG "), plain_heading("green-kg")
    ('green kg', 'green kg')
    """
    return " ".join(re.sub(r"[\s_\-]+", " ", heading).split()).casefold()


def split_unit(heading: str) -> tuple[str, str]:
    """Part a heading from the unit in brackets, or the per cent sign, behind it.

    >>> split_unit("Charge (kg)"), split_unit("Loss %"), split_unit("Lot")
    (('Charge', 'kg'), ('Loss', '%'), ('Lot', ''))
    """
    text = heading.strip()
    found = _UNIT.search(text)
    if found and text[: found.start()].strip():
        return text[: found.start()].strip(), found["unit"]
    if text.endswith("%") and text[:-1].strip():
        return text[:-1].strip(), "%"
    return text, ""
