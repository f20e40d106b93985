"""Which limits clash: emptiness of a region, and a smallest set of limits that explains it.

By Farkas' lemma the limits ``A x <= b`` leave nothing of the simplex exactly when some weights
``y >= 0`` make ``y A + t >= 0`` and ``y b + t < 0``. The limits with a weight are a clashing set,
so a smallest one is a small integer programme over which weights may be non-zero [1]_.

References
----------
.. [1] Gleeson J, Ryan J (1990), Identifying minimally infeasible subsystems of inequalities, ORSA
   Journal on Computing 2:61-63.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

import numpy as np

from coupage.mixture.limits import Limit

__all__ = ["can_hold", "irreducible", "smallest_clash"]

# Weights sum to one, so this is a clash of about a thousandth of a per cent of the blend per limit;
# the solver works to 1e-7.
_LEAST_CLASH = 1e-5
T = TypeVar("T")


def can_hold(q: int, limits: Sequence[Limit], exclusive: Sequence[Sequence[int]] = ()) -> bool:
    """Tell whether any recipe obeys all limits, at most one member of each exclusive set used."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    members = [i for group in exclusive for i in group]
    n = q + len(members)
    rows = [LinearConstraint(np.r_[np.ones(q), np.zeros(len(members))], 1, 1)]
    if limits:
        left = np.zeros((len(limits), n))
        left[:, :q] = [limit.dense(q) for limit in limits]
        rows.append(LinearConstraint(left, ub=[float(limit.bound) for limit in limits]))
    if members:
        used = np.zeros((len(members), n))  # share <= whether it is used
        used[np.arange(len(members)), members] = 1
        used[np.arange(len(members)), q + np.arange(len(members))] = -1
        rows.append(LinearConstraint(used, ub=0))
        one = np.zeros((len(exclusive), n))
        start = q
        for k, group in enumerate(exclusive):
            one[k, start : start + len(group)] = 1
            start += len(group)
        rows.append(LinearConstraint(one, ub=1))
    whole = np.r_[np.zeros(q), np.ones(len(members))]
    answer = milp(np.zeros(n), constraints=rows, bounds=Bounds(0, 1), integrality=whole)
    return bool(answer.success)


def smallest_clash(q: int, limits: Sequence[Limit]) -> list[Limit]:
    """Return a smallest set of limits that leaves nothing; all of ``limits`` together must."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    m = len(limits)
    rows = np.array([limit.dense(q) for limit in limits])
    bounds = np.array([float(limit.bound) for limit in limits])
    size = np.abs(rows).max(axis=1)
    rows, bounds = rows / size[:, None], bounds / size
    # Columns: weights y (m), whether used z (m), t.
    n = 2 * m + 1
    covers = np.hstack([rows.T, np.zeros((q, m)), np.ones((q, 1))])
    gap = np.r_[bounds, np.zeros(m), 1.0]
    weights = np.r_[np.ones(m), np.zeros(m + 1)]
    switched = np.hstack([np.eye(m), -np.eye(m), np.zeros((m, 1))])
    low, high = np.zeros(n), np.ones(n)
    low[-1], high[-1] = -np.inf, np.inf
    answer = milp(
        np.r_[np.zeros(m), np.ones(m), 0.0],
        constraints=[
            LinearConstraint(covers, lb=0),
            LinearConstraint(gap, ub=-_LEAST_CLASH),
            LinearConstraint(weights, 1, 1),
            LinearConstraint(switched, ub=0),
        ],
        bounds=Bounds(low, high),
        integrality=np.r_[np.zeros(m), np.ones(m), 0.0],
    )
    if answer.success:
        chosen = [limits[k] for k in range(m) if answer.x[m + k] > 0.5]
        if not can_hold(q, chosen):
            return chosen
    return irreducible(limits, lambda some: can_hold(q, some))


def irreducible(items: Sequence[T], holds: Callable[[Sequence[T]], bool]) -> list[T]:
    """Drop items one by one while the rest still clashes; what is left needs every member."""
    left = list(items)
    for item in list(items):
        rest = [other for other in left if other is not item]
        if not holds(rest):
            left = rest
    return left
