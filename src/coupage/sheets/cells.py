"""One cell: from what a file holds to a value of the column's kind, and back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal, localcontext
from difflib import get_close_matches
from typing import cast

from coupage.errors import InputError
from coupage.sheets.guard import guard, unguard
from coupage.sheets.layout import Column, Value
from coupage.sheets.numerals import (
    day_order,
    proven_marks,
    read_date,
    read_datetime,
    read_number,
)

__all__ = ["NUMERIC", "Raw", "Reader", "exact", "number_of", "readers", "shift", "text_of"]

Raw = str | int | float | bool | date | datetime | time | None
_YES = frozenset({"yes", "y", "true", "t", "1", "x", "on"})
_NO = frozenset({"no", "n", "false", "f", "0", "off", "-"})
_ERRORS = frozenset(
    ["#DIV/0!", "#N/A", "#NAME?", "#NULL!", "#NUM!", "#REF!", "#VALUE!", "#SPILL!", "#CALC!"]
)
NUMERIC = frozenset({"number", "integer", "share"})


def exact(number: float | Decimal) -> Decimal:
    """A number as the decimal that a person would have typed.

    Spreadsheets hold 15 significant digits; the noise of binary fractions beyond is not theirs.
    """
    if isinstance(number, float):
        return Decimal(f"{number:.15g}")
    return Decimal(number)


def shift(number: Decimal, places: int) -> Decimal:
    """Move the decimal mark, exactly: 35 by -2 is 0.35."""
    with localcontext() as context:
        context.prec = 80
        return number.scaleb(places)


def plainly(number: Decimal) -> str:
    """Digits without exponent and without needless zeros."""
    text = f"{number:f}"
    return (text.rstrip("0").rstrip(".") if "." in text else text) or "0"


@dataclass(frozen=True, slots=True)
class Reader:
    """Reads the cells of one column by the conventions that its whole file shows.

    ``share_as`` is ``fraction``, ``per cent`` or ``mixed``: how plain numbers of a share column are
    meant. A cell with a per cent sign needs none of it.
    """

    column: Column
    marks: frozenset[str] = frozenset()
    order: str = ""
    share_as: str = "fraction"

    def read(self, raw: Raw) -> Value:
        """Turn a raw cell into a value.

        Raises
        ------
        InputError
            With a message that names the remedy but not the place; the caller knows the place.
        """
        if raw is None or (isinstance(raw, str) and not raw.strip()):
            if self.column.required:
                raise InputError("is empty; fill it in")
            return self.column.default
        if isinstance(raw, str) and raw in _ERRORS:
            raise InputError(
                f"holds the spreadsheet error {raw}; mend the formula or type the value"
            )
        value = self._by_kind(raw)
        self._check_limits(value)
        return value

    def _by_kind(self, raw: Raw) -> Value:
        kind = self.column.kind
        if kind == "text":
            return _text(raw)
        if kind == "choice":
            return self._choice(_text(raw))
        if kind == "yes-no":
            return _yes_no(raw)
        if kind == "date":
            return _date(raw, self.order)
        if kind == "datetime":
            return _datetime(raw, self.order)
        if kind == "share":
            return self._share(raw)
        number = self._number(raw)
        if kind == "number":
            return number
        if number != number.to_integral_value():
            raise InputError(f"{number} is not a whole number; write it without decimals")
        return int(number)

    def _number(self, raw: Raw) -> Decimal:
        if isinstance(raw, bool | date | time):
            raise InputError(
                f"holds {'yes or no' if isinstance(raw, bool) else 'a date or time'}; "
                "write a number like 14.2"
            )
        if isinstance(raw, int | float):
            return exact(raw)
        text = unguard(cast(str, raw))
        unit = self.column.unit
        if unit and text.casefold().endswith(unit.casefold()):
            text = text[: -len(unit)]
        return read_number(text, self.marks)

    def _share(self, raw: Raw) -> Decimal:
        if isinstance(raw, str) and raw.strip().endswith("%"):
            return shift(read_number(unguard(raw).rstrip("%"), self.marks), -2)
        number = self._number(raw)
        if self.share_as == "mixed" and 0 < abs(number) <= 1:
            raise InputError(
                f"{number} stands among whole percentages, so it could mean {number} % or "
                f"{plainly(shift(number, 2))} %; write the one that you mean with its % sign"
            )
        return number if self.share_as == "fraction" else shift(number, -2)

    def _choice(self, text: str) -> str:
        by_plain = {choice.casefold(): choice for choice in self.column.choices}
        if text.casefold() in by_plain:
            return by_plain[text.casefold()]
        near = get_close_matches(text.casefold(), by_plain, n=1)
        hint = f"did you mean {by_plain[near[0]]!r}? " if near else ""
        raise InputError(
            f"{text!r} is not a choice; {hint}use one of {_listed(self.column.choices)}"
        )

    def _check_limits(self, value: Value) -> None:
        low, high = self.column.low, self.column.high
        if self.column.kind == "share":
            low, high = Decimal(0) if low is None else low, Decimal(1) if high is None else high
        unit = f" {self.column.unit}" if self.column.unit else ""
        if low is not None and value < low:  # type: ignore[operator]
            raise InputError(
                f"{self._show(value)}{unit} is below {self._show(low)}{unit}, the smallest allowed"
            )
        if high is not None and value > high:  # type: ignore[operator]
            raise InputError(
                f"{self._show(value)}{unit} is above {self._show(high)}{unit}, the largest allowed"
            )

    def _show(self, value: object) -> str:
        if self.column.kind == "share":
            return f"{plainly(shift(Decimal(str(value)), 2))} %"
        return str(value)


def readers(
    columns: Sequence[Column], cells: Sequence[Sequence[Raw]], percent: Sequence[bool]
) -> list[Reader]:
    """One reader for each column, after a look at all of the file's cells.

    ``cells[j]`` are the raw cells of ``columns[j]``; ``percent[j]`` says that its heading bears a
    per cent sign.
    """
    numeric = [j for j, column in enumerate(columns) if column.kind in NUMERIC]
    marks = proven_marks(
        cell.rstrip(" %") for j in numeric for cell in cells[j] if isinstance(cell, str)
    )
    found = []
    for j, column in enumerate(columns):
        order = share_as = ""
        if column.kind in ("date", "datetime"):
            order = day_order(cell for cell in cells[j] if isinstance(cell, str))
        if column.kind == "share":
            share_as = "per cent" if percent[j] else _share_as(cells[j], marks)
        found.append(Reader(column, marks, order, share_as))
    return found


def _share_as(cells: Sequence[Raw], marks: frozenset[str]) -> str:
    sizes = []
    for cell in cells:
        if isinstance(cell, int | float) and not isinstance(cell, bool):
            sizes.append(abs(exact(cell)))
        elif isinstance(cell, str) and cell.strip() and not cell.strip().endswith("%"):
            try:
                sizes.append(abs(read_number(cell, marks)))
            except InputError:
                continue  # reported where the cell is read
    if all(size <= 1 for size in sizes):
        return "fraction"
    return "mixed" if any(0 < size <= 1 for size in sizes) else "per cent"


def _text(raw: Raw) -> str:
    if isinstance(raw, str):
        return unguard(raw)
    if isinstance(raw, bool):
        return "yes" if raw else "no"
    if isinstance(raw, float):
        return f"{exact(raw):f}"
    if isinstance(raw, datetime):
        return raw.isoformat(sep=" ")
    return str(raw)


def _yes_no(raw: Raw) -> bool:
    text = _text(raw).casefold()
    if text in _YES:
        return True
    if text in _NO:
        return False
    raise InputError(f"{text!r} is neither yes nor no; write yes or no")


def _date(raw: Raw, order: str) -> date:
    if isinstance(raw, datetime):
        if raw.time() != time(0):
            raise InputError(f"{raw} has a time of day; write the date alone, like {raw.date()}")
        return raw.date()
    if isinstance(raw, date):
        return raw
    return read_date(_text(raw), order)


def _datetime(raw: Raw, order: str) -> datetime:
    return raw if isinstance(raw, datetime) else read_datetime(_text(raw), order)


def _listed(words: Sequence[str], most: int = 12) -> str:
    shown = ", ".join(words[:most])
    return shown if len(words) <= most else f"{shown} and {len(words) - most} more"


def number_of(column: Column, value: float | Decimal) -> Decimal:
    """A number to write, every digit of it.

    Raises
    ------
    InputError
        When it is not finite.
    """
    number = Decimal(repr(float(value))) if isinstance(value, float) else Decimal(value)
    if not number.is_finite():
        raise InputError(f"{column.name}: {value} cannot be written; give a finite number")
    return number


def text_of(column: Column, value: object) -> str:
    """Write a value as a CSV cell that `Reader.read` turns back into the same value."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return value.isoformat(sep=" ")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, int | float | Decimal) and column.kind in NUMERIC:
        number = number_of(column, value)
        return f"{plainly(shift(number, 2))}%" if column.kind == "share" else f"{number:f}"
    text = str(value)
    if "\0" in text:
        raise InputError(f"{column.name}: the text {text[:20]!r} holds a NUL; take it out")
    return guard(text)
