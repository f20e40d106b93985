"""A mixed-integer linear program, filled row by row and solved goal after goal.

Goals come in order of weight: the first is made as small as can be, then kept there while the
next is, and so on. HiGHS does the work (branch and cut); each goal is proven to the asked gap.

References
----------
.. [1] Huangfu, Q. and Hall, J. A. J., "Parallelizing the dual revised simplex method", Math. Prog.
   Comput. 10, 2018, 119-142: HiGHS, reached through `scipy.optimize.milp`.
.. [2] Ehrgott, M., Multicriteria Optimization, 2nd ed., 2005, chapter 5: lexicographic optimality.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from time import perf_counter
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Outcome", "Program"]

Floats = NDArray[np.float64]
Columns = NDArray[np.intp]
_WEIGHT = 3.0  # of an earlier count while it is in the objective
_SHARE = 0.45  # of the time that is left, for a goal between the first and the last
_SLACK = 1e-4  # how far a later goal may give up an earlier one: 0.1 g, or no whole batch


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a program.

    Attributes
    ----------
    status
        ``"optimal"`` (every goal proven to the asked gap), ``"stopped"`` (out of time, ``x`` is the
        best so far, None without any) or ``"impossible"``.
    gap
        Largest proven relative gap among the goals; infinite without a plan.
    values
        Goal by goal, what was reached.
    """

    status: str
    x: Floats | None
    gap: float
    values: tuple[float, ...]


@dataclass(slots=True)
class Program:
    lower: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    whole: list[bool] = field(default_factory=list)
    rows: list[tuple[Columns, Floats, float, float]] = field(default_factory=list)

    def add(
        self, shape: tuple[int, ...], upper: ArrayLike = np.inf, *, whole: bool = False
    ) -> Columns:
        """Add variables from 0 to ``upper``; gives their columns in the wanted shape."""
        size = int(np.prod(shape))
        first = len(self.lower)
        self.lower += [0.0] * size
        self.upper += np.broadcast_to(np.asarray(upper, dtype=float), shape).ravel().tolist()
        self.whole += [whole] * size
        return np.arange(first, first + size).reshape(shape)

    def row(
        self,
        *terms: tuple[ArrayLike, ArrayLike],
        at_least: float = -np.inf,
        at_most: float = np.inf,
    ) -> None:
        """Add one limit on a sum of (columns, coefficients)."""
        columns = [np.atleast_1d(np.asarray(c, dtype=np.intp)).ravel() for c, _ in terms]
        factors = [
            np.broadcast_to(np.asarray(f, dtype=float), np.shape(c)).ravel() for c, f in terms
        ]
        self.rows.append((np.concatenate(columns), np.concatenate(factors), at_least, at_most))

    def vector(self, *terms: tuple[ArrayLike, ArrayLike]) -> Floats:
        """Coefficients over all columns, for a goal."""
        result = np.zeros(len(self.lower))
        for columns, factors in terms:
            np.add.at(result, np.asarray(columns), np.broadcast_to(factors, np.shape(columns)))
        return result

    def solve(
        self,
        goals: Sequence[Floats],
        *,
        gap: float,
        seconds: float,
        progress: Callable[[int, float, float, Floats], None] | None = None,
    ) -> Outcome:
        """Meet the goals in order of weight within the time.

        ``progress`` hears, after each goal, its number, its value, its gap and the best so far.
        """
        ends = perf_counter() + seconds
        best: Floats | None = None
        kept: list[tuple[Floats, float]] = []
        values: list[float] = []
        worst = 0.0
        for number, goal in enumerate(goals):
            left = ends - perf_counter()
            # A goal that is hard to prove leaves time for those after it: a day of few batches
            # with thirty changes of coffee is no good plan.
            if number and number + 1 < len(goals):
                left *= _SHARE
            x, bound, out_of_time = self._meet(goal, kept, best, gap, max(left, 0.01))
            if x is not None:
                best = x
            elif best is None:
                return Outcome("stopped" if out_of_time else "impossible", None, np.inf, ())
            # Without a better one in time, the plan that met the earlier goals stands.
            value = float(goal @ best)
            values.append(value)
            worst = max(worst, _relative_gap(value, bound))
            kept.append((goal, value + _SLACK))
            if progress is not None:
                progress(number, value, worst, best)
        status = "optimal" if worst <= gap else "stopped"
        return Outcome(status, best, worst, tuple(values))

    def _meet(
        self,
        goal: Floats,
        kept: list[tuple[Floats, float]],
        best: Floats | None,
        gap: float,
        seconds: float,
    ) -> tuple[Floats | None, float | None, bool]:
        """Solution, proven bound, and whether time ran out, for one goal under the earlier ones.

        An earlier count (batches) held as a limit leaves the search almost no plan to start from.
        So it is first put into the objective with a weight. When the answer keeps to the earlier
        value all the same, it is the one that was sought: any other plan that keeps to it would
        weigh less if it were better. Else the limit is set after all.
        """
        ends = perf_counter() + seconds
        counts = [(g, most) for g, most in kept if self._counts(g)] if self._counts(goal) else []
        bound = None
        if counts and best is not None:
            reached = sum(float(np.floor(most)) for _, most in counts)
            weighed = goal + _WEIGHT * np.sum([g for g, _ in counts], axis=0)
            others = [(g, most) for g, most in kept if not self._counts(g)]
            fine = 0.5 / max(float(weighed @ best), 1.0)  # whole numbers: half of one is proof
            result = self._solve_one(weighed, others, fine, 0.6 * seconds)
            if result.mip_dual_bound is not None and np.isfinite(result.mip_dual_bound):
                bound = float(np.ceil(result.mip_dual_bound - _SLACK)) - _WEIGHT * reached
            keeps = result.x is not None and all(g @ result.x <= most for g, most in counts)
            if keeps and (result.status == 0 or goal @ result.x < goal @ best - 0.5):
                return np.asarray(result.x), bound, result.status == 1
        result = self._solve_one(goal, kept, gap, max(ends - perf_counter(), 0.01))
        proven = [b for b in (bound, result.mip_dual_bound) if b is not None and np.isfinite(b)]
        x = None if result.x is None else np.asarray(result.x)
        return x, max(proven, default=None), result.status == 1

    def _counts(self, goal: Floats) -> bool:
        """Whether a goal is a sum of whole numbers."""
        used = goal != 0
        return bool(np.asarray(self.whole)[used].all() and (goal[used] % 1 == 0).all())

    def _solve_one(
        self, goal: Floats, kept: list[tuple[Floats, float]], gap: float, seconds: float
    ) -> Any:
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import csr_array

        sizes = [c.size for c, _, _, _ in self.rows]
        matrix = csr_array(
            (
                np.concatenate([f for _, f, _, _ in self.rows]),
                np.concatenate([c for c, _, _, _ in self.rows]),
                np.concatenate([[0], np.cumsum(sizes)]),
            ),
            shape=(len(self.rows), len(self.lower)),
        )
        limits = [LinearConstraint(matrix, [r[2] for r in self.rows], [r[3] for r in self.rows])]
        limits += [LinearConstraint(g[None, :], -np.inf, most) for g, most in kept]
        return milp(
            goal,
            integrality=np.array(self.whole, dtype=int),
            bounds=Bounds(self.lower, self.upper),
            constraints=limits,
            options={"mip_rel_gap": gap, "time_limit": seconds},
        )


def _relative_gap(value: float, bound: float | None) -> float:
    """Distance to the proven bound as a part of the value; below the slack it is none.

    Every goal is a sum of things that cannot be negative, so 0 is always a bound.
    """
    distance = value - max(bound if bound is not None and np.isfinite(bound) else 0.0, 0.0)
    return 0.0 if distance <= _SLACK else distance / abs(value)
