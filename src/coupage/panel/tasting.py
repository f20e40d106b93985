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
    """(T,) correlation of a taster's ratings with the mean of the others on the same cups.

    A cup is a sample in one cupping and pass; its deviation from the cupping's and pass's average
    is compared, so that a drift of the day is no agreement.
    """
    taster = given.taster[rows]
    width, passes = len(given.cuppings), len(given.passes)
    cell = (given.sample[rows] * width + given.cupping[rows]) * passes + given.pass_[rows]
    _, cell = np.unique(cell, return_inverse=True)
    own_key, own = np.unique(taster * (cell.max(initial=0) + 1) + cell, return_inverse=True)
    size = np.bincount(own)
    value = np.bincount(own, weights=given.rating[rows]) / np.maximum(size, 1)
    who, what = np.divmod(own_key, cell.max(initial=0) + 1)
    raters = np.bincount(what)
    total = np.bincount(what, weights=value)
    several = raters[what] > 1
    others = (total[what] - value)[several] / (raters[what] - 1)[several]
    day = _first_of(what, cell, given.cupping[rows] * passes + given.pass_[rows])[several]
    out = np.full(len(given.tasters), np.nan)
    who, value = who[several], value[several]
    for t in np.unique(who):
        mine = who == t
        a = _within(value[mine], day[mine])
        b = _within(others[mine], day[mine])
        scale = np.sqrt((a @ a) * (b @ b))
        if mine.sum() >= 3 and scale > 1e-12:
            out[t] = a @ b / scale
    return out


def _first_of(what: Codes, cell: Codes, label: Codes) -> Codes:
    by_cell = np.zeros(cell.max(initial=0) + 1, dtype=np.int64)
    by_cell[cell] = label
    return by_cell[what]


def _within(value: Floats, day: Codes) -> Floats:
    _, code = np.unique(day, return_inverse=True)
    return value - (np.bincount(code, weights=value) / np.bincount(code))[code]
