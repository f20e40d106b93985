"""Figures on tasters that come straight from the ratings."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from coupage.panel.columns import Ratings

__all__ = ["agreement", "signal"]

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]


def signal(level: Floats, taster: Codes, count: int) -> Floats:
    """(T,) variance of the believed sample levels (n,) over the cups that each taster rated."""
    n = np.bincount(taster, minlength=count)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.bincount(taster, weights=level, minlength=count) / n
        away = np.square(level - mean[taster])
        return np.nan_to_num(np.bincount(taster, weights=away, minlength=count) / n)


def agreement(given: Ratings, rows: Codes) -> Floats:
    """(a, T) correlation of a taster's ratings with the mean of the others on the same cups.

    ``rows`` (a, n) are the ratings of attributes rated on the same cups. A cup is a sample in one
    cupping and pass; its deviation from the cupping's and pass's average is compared, so that a
    drift of the day is no agreement.
    """
    first = rows[0]
    taster, passes = given.taster[first], len(given.passes)
    day = given.cupping[first] * passes + given.pass_[first]
    _, cell = np.unique(given.sample[first] * (day.max(initial=0) + 1) + day, return_inverse=True)
    width = int(cell.max(initial=0)) + 1
    key, own = np.unique(taster * width + cell, return_inverse=True)
    who, what = np.divmod(key, width)
    size, raters = np.bincount(own), np.bincount(what)
    several = raters[what] > 1
    who, by_day = who[several], _first_of(what, cell, day)[several]
    _, by_table = np.unique(who * (by_day.max(initial=0) + 1) + by_day, return_inverse=True)
    enough = np.bincount(who, minlength=len(given.tasters)) >= 3
    out = np.full((len(rows), len(given.tasters)), np.nan)
    for i, line in enumerate(rows):
        value = np.bincount(own, weights=given.rating[line]) / np.maximum(size, 1)
        total = np.bincount(what, weights=value)
        others = (total[what] - value)[several] / (raters[what] - 1)[several]
        a, b = (_within(v, by_table) for v in (value[several], others))
        sums = [
            np.bincount(who, weights=v, minlength=len(given.tasters)) for v in (a * b, a * a, b * b)
        ]
        scale = np.sqrt(sums[1] * sums[2])
        known = enough & (scale > 1e-12)
        out[i, known] = sums[0][known] / scale[known]
    return out


def _first_of(what: Codes, cell: Codes, label: Codes) -> Codes:
    by_cell = np.zeros(cell.max(initial=0) + 1, dtype=np.int64)
    by_cell[cell] = label
    return by_cell[what]


def _within(value: Floats, table: Codes) -> Floats:
    """Deviations from the mean of each taster's table."""
    return np.asarray(value - (np.bincount(table, weights=value) / np.bincount(table))[table])
