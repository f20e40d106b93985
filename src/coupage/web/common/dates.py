"""Days as people read them, the same on every system: strftime's "%-d" is not known to all."""

from __future__ import annotations

import datetime as dt

__all__ = ["day_text"]


def day_text(day: dt.date, *, year: bool = True, whole: bool = False) -> str:
    """Write a day, or the day of a time: ``9 Mar 2026``, ``9 March 2026``, ``9 Mar``.

    >>> day_text(dt.date(2026, 3, 9)), day_text(dt.date(2026, 3, 9), year=False)
    ('9 Mar 2026', '9 Mar')
    """
    month = f"{day:%B}" if whole else f"{day:%b}"
    return f"{day.day} {month} {day.year}" if year else f"{day.day} {month}"
