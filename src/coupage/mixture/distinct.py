"""As many hidden repeats as were asked for, and no more.

Theory likes to repeat what it knows least. Two cups of one sample share its roast batches, though,
so a repeat teaches less than the criterion believes; and a roaster who asks for one repeat wants
one. Repeats too many are therefore exchanged for blends that differ from all others on the table
by more than a spoonful.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from coupage.mixture.decision import Doubt
from coupage.mixture.terms import Order, model_matrix

__all__ = ["Aim", "distinct", "with_repeats"]

Floats = npt.NDArray[np.float64]
_APART = 0.15  # of the cup, in at least one coffee; less where the limits leave no such blend
_PASSES = 4
_GAIN = 1e-9


@dataclass(frozen=True, slots=True)
class Aim:
    """What is made small: a sum of traces ``weights @ inverse(precision + F'F)``, or (no weights)
    minus the log determinant of ``precision + F'F``.
    """

    order: Order
    parts: Sequence[tuple[Floats, Floats | None]]  # precision (p, p), weights (p, p)

    @classmethod
    def of(cls, doubt: Doubt, order: Order) -> Aim:
        """Return what a design for a decision makes small."""
        return cls(order, [(a.precision, a.noise_sd**2 * a.weights) for a in doubt.aspects])

    def with_one_more(self, others: Floats, listed: Floats) -> Floats:
        """Value (c,) of the blends ``others (n, q)`` and each of ``listed (c, q)`` in turn."""
        rows, more = model_matrix(others, self.order), model_matrix(listed, self.order)
        total = np.zeros(len(listed))
        for precision, weights in self.parts:
            inverse = np.linalg.inv(precision + rows.T @ rows)
            reach = more @ inverse
            told = 1 + np.einsum("cp,cp->c", reach, more)
            if weights is None:
                total -= np.log(told) - np.linalg.slogdet(inverse)[1]
            else:
                gain = np.einsum("cp,pr,cr->c", reach, weights, reach) / told
                total += np.sum(weights * inverse) - gain
        return total


def distinct(points: Floats, listed: Floats, aim: Aim, *, fixed: Sequence[int] = ()) -> Floats:
    """Return blends (n, q) that all differ, as far as the list has others.

    Parameters
    ----------
    points : (n, q)
        Blends of which some may be the same; not changed.
    listed : (c, q)
        Blends that may come in.
    fixed
        Rows that stay, such as the reference.
    """
    points = points.copy()
    while True:
        again = [i for i in _again(points, fixed) if i not in fixed]
        free = _unused(points, listed)
        if not again or not len(free):
            break
        row, came, _ = min((_best(points, i, free, aim) for i in again), key=lambda b: b[2])
        points[row] = came
    for _ in range(_PASSES):
        if not _exchange(points, listed, aim, set(fixed)):
            break
    return points


def with_repeats(points: Floats, count: int, aim: Aim) -> Floats:
    """Add so many repeats, each of the blend that tells most, none twice before all came once."""
    left: list[int] = []
    for _ in range(count):
        left = left or list(range(len(points)))
        values = aim.with_one_more(points, points[left])
        points = np.concatenate([points, points[[left.pop(int(np.argmin(values)))]]])
    return points


def _exchange(points: Floats, listed: Floats, aim: Aim, fixed: set[int]) -> bool:
    """Exchange blends that stand alone for unused ones while that helps."""
    moved = False
    for i in range(len(points)):
        alone = np.count_nonzero(np.abs(points - points[i]).max(axis=1) < _GAIN) == 1
        free = _unused(points, listed)
        if i in fixed or not alone or not len(free):
            continue
        now = aim.with_one_more(np.delete(points, i, axis=0), points[i : i + 1])[0]
        _, came, value = _best(points, i, free, aim)
        if value < now - _GAIN * max(1.0, abs(now)):
            points[i], moved = came, True
    return moved


def _best(points: Floats, row: int, free: Floats, aim: Aim) -> tuple[int, Floats, float]:
    values = aim.with_one_more(np.delete(points, row, axis=0), free)
    best = int(np.argmin(values))
    return row, free[best], float(values[best])


def _again(points: Floats, fixed: Sequence[int]) -> list[int]:
    """Rows that repeat another; of a pair with a fixed row the other one."""
    order = sorted(range(len(points)), key=lambda i: (i not in fixed, i))
    return [
        i
        for k, i in enumerate(order)
        if k and (np.abs(points[order[:k]] - points[i]).max(axis=1) < _GAIN).any()
    ]


def _unused(points: Floats, listed: Floats) -> Floats:
    """Listed blends that differ from all on the table, by much where there are such."""
    distance = np.full(len(listed), np.inf)
    for point in points:
        distance = np.minimum(distance, np.abs(listed - point).max(axis=1))
    for apart in (_APART, _APART / 2, _GAIN):
        free = listed[distance >= apart - _GAIN / 2]
        if len(free):
            return free
    return listed[:0]
