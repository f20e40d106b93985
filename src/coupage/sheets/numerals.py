"""Numbers and dates as people type them, never guessed when they can be read two ways.

``1,250`` is one and a quarter to some and twelve hundred and fifty to others, ``3/4/2026`` is in
March or in April. The other cells of the file usually settle it ("14,2" proves a decimal comma);
when nothing does, the cell is refused with the two ways to write it.

References
----------
.. [1] ISO 8601-1:2019, 5.2.2 (calendar date) and 5.4.2 (date and time of day).
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date, datetime
from decimal import Decimal

from coupage.errors import InputError

__all__ = ["day_order", "proven_marks", "read_date", "read_datetime", "read_number"]

_LONGEST = 40
_SHAPE = re.compile(r"[+-]?[0-9.,]*[0-9][0-9.,]*(?:[eE][+-]?[0-9]{1,2})?")
_PLAIN = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,2})?")
_EITHER_WAY = re.compile(r"[+-]?[1-9][0-9]{0,2}([.,])[0-9]{3}")
_YEAR_FIRST = re.compile(r"([0-9]{4})([-/.])([0-9]{1,2})\2([0-9]{1,2})")
_DOTTED = re.compile(r"([0-9]{1,2})\.\s?([0-9]{1,2})\.\s?([0-9]{4})")
_YEAR_LAST = re.compile(r"([0-9]{1,2})([-/])([0-9]{1,2})\2([0-9]{4})")
_TIME = re.compile(
    r"[0-9]{1,2}:[0-9]{2}(?::[0-9]{2}(?:[.,][0-9]{1,6})?)?(?:\s?Z|\s?[+-][0-9]{2}:?[0-9]{2})?"
)


def _clean(text: str) -> str:
    plain = "".join(text.split()).replace("'", "").replace("’", "")
    return plain.replace("−", "-")


def _proof(text: str) -> str:
    """The decimal mark that this cell alone proves, or nothing."""
    plain = _clean(text)
    if len(plain) > _LONGEST or not _SHAPE.fullmatch(plain) or _EITHER_WAY.fullmatch(plain):
        return ""
    commas, dots = plain.count(","), plain.count(".")
    if commas and dots:
        return "," if plain.rfind(",") > plain.rfind(".") else "."
    if commas + dots == 1:
        return "," if commas else "."
    if commas > 1:
        return "."
    return "," if dots > 1 else ""


def proven_marks(texts: Iterable[str]) -> frozenset[str]:
    """Decimal marks that the cells prove.

    >>> sorted(proven_marks(["14,2", "1,250", "7"])), sorted(proven_marks(["1.250"]))
    ([','], [])
    """
    return frozenset(mark for text in texts if (mark := _proof(text)))


def read_number(text: str, proven: frozenset[str] = frozenset()) -> Decimal:
    """Read a number, with the decimal marks that the rest of the file proves.

    A point alone is a decimal point, as programs write it, unless the file proves decimal commas.

    Raises
    ------
    InputError
        When the text is no number, or can be read two ways.

    Examples
    --------
    >>> read_number("14,2"), read_number("1.250,5"), read_number("1 250")
    (Decimal('14.2'), Decimal('1250.5'), Decimal('1250'))
    >>> read_number("1,250", frozenset(",")), read_number("1,250", frozenset("."))
    (Decimal('1.250'), Decimal('1250'))
    """
    plain = _clean(text)
    if len(plain) > _LONGEST or not _SHAPE.fullmatch(plain):
        raise InputError(f"{_short(text)} is not a number; write it like 14.2 or 14,2")
    decimal = _proof(plain) or "."
    either = _EITHER_WAY.fullmatch(plain)
    if either:
        mark = either[1]
        settled = next(iter(proven)) if len(proven) == 1 else ""
        if not settled and (mark == "," or proven):
            one, many = plain.replace(mark, "."), plain.replace(mark, "")
            raise InputError(
                f"{_short(text)} could mean {one.rstrip('0').rstrip('.')} or {many}; "
                f"write {one}0 or {many}"
            )
        decimal = settled or "."
    thousands = "." if decimal == "," else ","
    whole, point, rest = plain.partition(decimal)
    if thousands in whole:
        groups = whole.lstrip("+-").split(thousands)
        if not 1 <= len(groups[0]) <= 3 or any(len(group) != 3 for group in groups[1:]):
            raise InputError(f"{_short(text)} is not a number; write it like 14.2 or 14,2")
    number = whole.replace(thousands, "") + ("." if point else "") + rest
    if not _PLAIN.fullmatch(number):
        raise InputError(f"{_short(text)} is not a number; write it like 14.2 or 14,2")
    return Decimal(number)


def _short(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:37] + "...")


def day_order(texts: Iterable[str]) -> str:
    """``day``, ``month`` or nothing: what comes first in dates like 3/4/2026, if a cell proves it.

    >>> day_order(["3/4/2026", "25/3/2026"]), day_order(["3/4/2026"])
    ('day', '')
    """
    proofs = set()
    for text in texts:
        found = _YEAR_LAST.match(text.strip())
        if found and int(found[1]) > 12:
            proofs.add("day")
        elif found and int(found[3]) > 12:
            proofs.add("month")
    return proofs.pop() if len(proofs) == 1 else ""


def read_date(text: str, order: str = "") -> date:
    """Read a calendar date: ISO 8601, 5.3.2026, or 25/3/2026 where it can be read one way only.

    Raises
    ------
    InputError
        When the text is no date, or day and month could be swapped.

    Examples
    --------
    >>> read_date("2026-03-05"), read_date("5.3.2026"), read_date("3/4/2026", "month")
    (datetime.date(2026, 3, 5), datetime.date(2026, 3, 5), datetime.date(2026, 3, 4))
    """
    plain = text.strip()
    if found := _YEAR_FIRST.fullmatch(plain):
        year, month, day = int(found[1]), int(found[3]), int(found[4])
    elif found := _DOTTED.fullmatch(plain):
        day, month, year = int(found[1]), int(found[2]), int(found[3])
    elif found := _YEAR_LAST.fullmatch(plain):
        first, second, year = int(found[1]), int(found[3]), int(found[4])
        if not order and first <= 12 and second <= 12 and first != second:
            raise InputError(
                f"{_short(text)} could be the {first}th day of month {second} or the {second}th "
                f"day of month {first}; write {year}-{second:02}-{first:02} or "
                f"{year}-{first:02}-{second:02}"
            )
        swapped = order == "month" or (not order and second > 12)
        day, month = (second, first) if swapped else (first, second)
    else:
        raise InputError(f"{_short(text)} is not a date; write it like 2026-03-05")
    try:
        return date(year, month, day)
    except ValueError:
        raise InputError(
            f"{_short(text)} is not in the calendar; write it like 2026-03-05"
        ) from None


def read_datetime(text: str, order: str = "") -> datetime:
    """Read a date with a time of day, with or without the offset from UTC.

    Raises
    ------
    InputError
        When either part is missing or cannot be read.

    Examples
    --------
    >>> read_datetime("2026-03-05 14:30")
    datetime.datetime(2026, 3, 5, 14, 30)
    """
    plain = text.strip()
    day, clock = [*plain.split("T" if "T" in plain else None, 1), ""][:2]
    clock = clock.strip()
    if not clock:
        read_date(day, order)
        raise InputError(f"{_short(text)} has no time of day; write it like 2026-03-05 14:30")
    if not _TIME.fullmatch(clock):
        raise InputError(f"{_short(text)} is not a date and time; write it like 2026-03-05 14:30")
    on = read_date(day, order)
    padded = clock if clock[1] != ":" else f"0{clock}"
    try:
        return datetime.fromisoformat(f"{on.isoformat()}T{padded.replace(' ', '')}")
    except ValueError:
        raise InputError(
            f"{_short(text)} is not a date and time; write it like 2026-03-05 14:30"
        ) from None
