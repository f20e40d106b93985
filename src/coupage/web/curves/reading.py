"""A logged file, read: headings, which columns are which, seconds and temperatures.

Loggers write whatever they like between two columns that matter. Cells that are no numbers are
readings that were lost, not mistakes; a file is refused only when too little of it can be used.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from coupage.errors import InputError
from coupage.sheets import Column, Layout
from coupage.sheets.cells import Raw
from coupage.sheets.layout import plain_heading
from coupage.sheets.reading import Grid, read_grid

__all__ = ["Guess", "LogFile", "guess_columns", "read_log", "readings_of", "signature_of"]

Floats = NDArray[np.float64]
_TIME_WORDS = ("seconds", "time", "elapsed", "sec", "s", "t", "minutes", "time from charge")
_BEAN_WORDS = ("bean temperature", "bean temp", "bean", "beans", "bean probe", "temperature")
_LAYOUT = Layout(
    "curve",
    (
        Column("seconds", "number", aliases=_TIME_WORDS[1:]),
        Column("bean temperature", "number", aliases=_BEAN_WORDS[1:]),
    ),
)
_UNIT = re.compile(r"[\[(]?\s*(?:°\s*)?(c|f|s|sec|seconds|min|minutes|mm:ss)\s*[\])]?$", re.I)
_CLOCK = re.compile(r"(?:(\d{1,2}):)?(\d{1,3}):(\d{2}(?:[.,]\d+)?)")
# A roast ends between these in °C, whatever the probe: outside, the unit is not what was said.
_HOTTEST = (120.0, 320.0)
_LONGEST_S = 3600


@dataclass(frozen=True, slots=True)
class LogFile:
    """A file's headings and cells."""

    filename: str
    headings: tuple[str, ...]
    rows: tuple[tuple[Raw, ...], ...]

    def preview(self, rows: int = 6) -> list[list[str]]:
        """Return the first rows as text, to show whoever names the columns."""
        return [["" if c is None else str(c)[:30] for c in row] for row in self.rows[:rows]]


@dataclass(frozen=True, slots=True)
class Guess:
    """Which columns are which, as far as their headings say."""

    time: str
    time_unit: str
    bean: str
    fahrenheit: bool


def read_log(data: bytes, filename: str) -> LogFile:
    """Read a CSV or XLSX file of a logged roast.

    Raises
    ------
    FileError
        When it is no table, is empty, or is too large.
    """
    grid: Grid = read_grid(data, filename, _LAYOUT)
    width = len(grid.headings)
    rows = tuple((*cells[:width], *[None] * (width - len(cells))) for _, cells in grid.rows)
    return LogFile(filename, tuple(grid.headings), rows)


def signature_of(headings: Sequence[str]) -> str:
    """Return what files of one logger have in common: their headings, in their order."""
    plain = "\x1f".join(" ".join(h.lower().split()) for h in headings)
    return hashlib.sha256(plain.encode()).hexdigest()


def guess_columns(log: LogFile) -> Guess | None:
    """Tell the columns by plain headings; None unless exactly one of each kind is there."""
    stems = {h: _stem(h) for h in log.headings if h.strip()}
    times = [h for h, stem in stems.items() if stem in map(plain_heading, _TIME_WORDS)]
    beans = [h for h, stem in stems.items() if stem in map(plain_heading, _BEAN_WORDS)]
    if len(times) != 1 or len(beans) != 1:
        return None
    unit = _time_unit(log, times[0])
    if not unit:
        return None
    return Guess(times[0], unit, beans[0], bool(re.search(r"(°\s*|\b)f\W*$", beans[0], re.I)))


def _stem(heading: str) -> str:
    """A heading without its unit, unless the unit is all it says."""
    return plain_heading(_UNIT.sub("", heading.strip()).strip() or heading)


def _time_unit(log: LogFile, heading: str) -> str:
    """Seconds, minutes or a clock, by the cells first; empty where it could be either."""
    cells = [row[log.headings.index(heading)] for row in log.rows]
    if any(isinstance(c, dt.time | dt.datetime) or _CLOCK.fullmatch(str(c)) for c in cells):
        return "clock"
    if re.search(r"min(utes)?\W*$", heading, re.I):
        return "min"
    if re.search(r"s(ec(onds)?)?\W*$", heading, re.I):
        return "s"
    longest = np.nanmax([0.0, *(_figure(c) for c in cells)])
    return "s" if longest > 120 else ""


def readings_of(log: LogFile, columns: Guess) -> tuple[Floats, Floats]:
    """Return seconds from charge, and temperatures in °C, of all rows with a time.

    Raises
    ------
    InputError
        When a column is missing, times do not make a roast, or the temperatures cannot be beans'.
    """
    for heading in (columns.time, columns.bean):
        if heading not in log.headings:
            raise InputError(f"column {heading!r} is missing; name the columns of such files anew")
    at, of = log.headings.index(columns.time), log.headings.index(columns.bean)
    read = {"s": _figure, "min": lambda c: 60 * _figure(c), "clock": _clock}[columns.time_unit]
    seconds = np.array([read(row[at]) for row in log.rows])
    degrees = np.array([_figure(row[of]) for row in log.rows])
    known = np.isfinite(seconds) & (seconds >= 0)
    if not known.any():
        raise InputError(f"column {columns.time!r} holds no times; name the columns anew")
    seconds, degrees = seconds[known], degrees[known]
    if columns.fahrenheit:
        degrees = (degrees - 32) / 1.8
    if seconds.max() > _LONGEST_S:
        raise InputError(
            f"its last time is {seconds.max() / 60:.0f} minutes; a curve runs at most "
            f"{_LONGEST_S // 60}: is the time in another unit, or a time of day?"
        )
    if not np.isfinite(degrees).any():
        raise InputError(f"column {columns.bean!r} holds no temperatures; name the columns anew")
    usual = float(np.nanquantile(degrees, 0.98))
    if not _HOTTEST[0] <= usual <= _HOTTEST[1]:
        raise InputError(
            f"its highest temperatures are around {usual:.0f} °C, which no roast ends at: is the "
            f"unit of {columns.bean!r} another one, or the column?"
        )
    return seconds, degrees


def _figure(cell: Raw) -> float:
    if isinstance(cell, bool) or cell is None:
        return math.nan
    if isinstance(cell, int | float | Decimal):
        return float(cell)
    text = "".join(str(cell).split()).replace("−", "-")
    if "," in text and "." in text:
        text = text.replace("." if text.rfind(",") > text.rfind(".") else ",", "")
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        return math.nan
    return value if math.isfinite(value) else math.nan


def _clock(cell: Raw) -> float:
    if isinstance(cell, dt.datetime | dt.time):
        return cell.hour * 3600 + cell.minute * 60 + cell.second + cell.microsecond / 1e6
    found = _CLOCK.fullmatch(str(cell).strip())
    if not found:
        return math.nan
    hours, minutes, seconds = found.groups()
    return int(hours or 0) * 3600 + int(minutes) * 60 + float(seconds.replace(",", "."))
