"""Every recipe on a step, counted before it is built."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from coupage.errors import InputError
from coupage.mixture.limits import Limit, exact

__all__ = ["recipes_on_step", "steps_in_one"]

Ints = npt.NDArray[np.int64]
_LARGEST_SCALE = 10**12


def steps_in_one(step: float) -> int:
    """Tell how many steps make the whole blend.

    Examples
    --------
    >>> steps_in_one(0.05)
    20
    """
    size = exact(step) if math.isfinite(step) else Fraction(0)
    if not 0 < size <= 1 or size.numerator != 1:
        raise InputError(
            f"step: {step} does not divide the blend into equal steps; "
            "use 1 over a whole number, like 0.05, 0.1 or 0.125"
        )
    return size.denominator


def recipes_on_step(
    lower: Sequence[Fraction],
    upper: Sequence[Fraction],
    limits: Sequence[Limit],
    exclusive: Sequence[Sequence[int]],
    step: float,
    most: int,
) -> Ints:
    """Return every feasible recipe in whole steps, (n, q), in lexicographic order.

    Raises
    ------
    InputError
        When more than ``most`` partial recipes would have to be held at once.
    """
    total = steps_in_one(step)
    low = [math.ceil(x * total) for x in lower]
    high = [math.floor(x * total) for x in upper]
    rows, bounds = _whole(limits, len(low), total)
    least = _least_ahead(rows, low, high)
    sets = [np.array(group) for group in exclusive]
    parts = np.zeros((1, 0), dtype=np.int64)
    sums = np.zeros((1, len(bounds)), dtype=np.int64)
    left = np.array([total])
    for i in range(len(low)):
        ahead_low, ahead_high = sum(low[i + 1 :]), sum(high[i + 1 :])
        first = np.maximum(low[i], left - ahead_high)
        last = np.minimum(high[i], left - ahead_low)
        counts = np.maximum(last - first + 1, 0)
        if counts.sum() > most:
            raise InputError(
                f"step: {step} makes more than {most} recipes of these {len(low)} components; "
                "take a coarser step, fewer components or tighter limits"
            )
        origin = np.repeat(np.arange(len(left)), counts)
        offset = np.arange(len(origin)) - np.repeat(np.cumsum(counts) - counts, counts)
        value = first[origin] + offset
        parts = np.column_stack([parts[origin], value])
        sums = sums[origin] + value[:, None] * rows[:, i]
        left = left[origin] - value
        fine = (sums + least[i + 1] <= bounds).all(axis=1)
        for group in sets:
            fine &= np.count_nonzero(parts[:, group[group <= i]], axis=1) <= 1
        parts, sums, left = parts[fine], sums[fine], left[fine]
    return parts


def _whole(limits: Sequence[Limit], q: int, total: int) -> tuple[Ints, Ints]:
    """Limits as whole-number rows over recipes counted in steps."""
    rows = np.zeros((len(limits), q), dtype=np.int64)
    bounds = np.zeros(len(limits), dtype=np.int64)
    for k, limit in enumerate(limits):
        bound = limit.bound * total
        scale = math.lcm(*(c.denominator for c in limit.row.values()))
        exactly = scale <= _LARGEST_SCALE
        scale = min(scale, _LARGEST_SCALE)  # beyond, a trillionth of tolerance keeps int64 safe
        for i, c in limit.row.items():
            rows[k, i] = round(c * scale)
        bounds[k] = math.floor(bound * scale) + (0 if exactly else total)
    return rows, bounds


def _least_ahead(rows: Ints, low: Sequence[int], high: Sequence[int]) -> Ints:
    """Smallest amount that components i, i+1, ... can still add to each limit, (q + 1, limits)."""
    each = np.minimum(rows * np.array(low), rows * np.array(high)).T
    return np.vstack([np.cumsum(each[::-1], axis=0)[::-1], np.zeros((1, len(rows)), np.int64)])
