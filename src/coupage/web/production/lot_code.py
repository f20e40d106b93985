"""Lot codes by the roastery's own pattern.

The law asks for a mark by which the lot can be found, with the letter L in front unless it stands
apart from other marks; where a date of minimum durability shows day and month, in that order, the
date may serve as the mark.

References
----------
.. [1] Directive 2011/91/EU, Articles 4 and 5 (letter L; day and month in that order); article
   numbers from memory.
"""

from __future__ import annotations

import datetime as dt
import re

from coupage.errors import InputError
from coupage.web.production.gs1 import check_lot

__all__ = ["DEFAULT_PATTERN", "TOKENS", "check_pattern", "lot_code"]

DEFAULT_PATTERN = "{day}{month}{yy}-{run}"
TOKENS = {
    "{day}": "day, 14",
    "{month}": "month, 03",
    "{yy}": "year, 26",
    "{year}": "year, 2026",
    "{run}": "run of the day, 1",
    "{blend}": "first two letters of the blend, RO",
}


def check_pattern(pattern: str) -> None:
    """Refuse a pattern by which two lots could get one code, or a day be read as a month.

    Raises
    ------
    InputError
    """
    unknown = [t for t in re.findall(r"\{[^}]*\}?|\}", pattern) if t not in TOKENS]
    if unknown:
        raise InputError(f"{unknown[0]!r} is not known; use {', '.join(TOKENS)}")
    for needed in ("{day}", "{month}", "{run}"):
        if pattern.count(needed) != 1:
            raise InputError(f"put {needed} into the pattern once, or two lots may look alike")
    if "{yy}" not in pattern and "{year}" not in pattern:
        raise InputError("put {yy} or {year} into the pattern, or codes come again next year")
    if pattern.index("{day}") > pattern.index("{month}"):
        raise InputError("put {day} before {month}: that is the order in which the law reads them")
    # The widest it can become: year in full, a run of two digits.
    check_lot(lot_code(pattern, on=dt.date(2026, 12, 31), run=10, blend="XX"))


def lot_code(pattern: str, *, on: dt.date, run: int, blend: str) -> str:
    """Fill a pattern.

    Examples
    --------
    >>> lot_code("{day}{month}{yy}-{run}", on=dt.date(2026, 3, 14), run=2, blend="Ropewalk")
    '140326-2'
    """
    letters = re.sub(r"[^A-Z0-9]", "", blend.upper())[:2] or "X"
    values = {
        "{day}": f"{on:%d}",
        "{month}": f"{on:%m}",
        "{yy}": f"{on:%y}",
        "{year}": f"{on:%Y}",
        "{run}": str(run),
        "{blend}": letters,
    }
    code = pattern
    for token, value in values.items():
        code = code.replace(token, value)
    return code
