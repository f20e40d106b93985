"""Runs rules of control charts, by their published numbers.

Each rule reads standardised values z = (x - center) / sigma and marks the points at which it holds.
A point on the center line belongs to neither side.

References
----------
.. [1] Western Electric Company, Statistical Quality Control Handbook, 1956, pp. 25-28: tests 1-4.
.. [2] Nelson, L. S., "The Shewhart control chart: tests for special causes", J. Qual. Technol. 16,
   1984, 237-239: tests 1-8.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from coupage.errors import InputError

__all__ = ["NELSON", "WESTERN_ELECTRIC", "RuleSet", "RunRule", "run_rules"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
RuleSet = Literal["western electric", "nelson", "none"]


@dataclass(frozen=True, slots=True)
class RunRule:
    """One published rule.

    Attributes
    ----------
    source
        Who published it.
    number
        Its number there.
    span
        The fewest points at which it can hold.
    words
        What it says, to finish "a signal because ...".
    """

    source: str
    number: int
    span: int
    words: str
    _holds: Callable[[Floats], Bools]

    @property
    def name(self) -> str:
        return f"{self.source} {self.number}"

    def holds(self, z: Floats) -> Bools:
        """Whether the rule holds at each point, shape ``(n,)``."""
        if z.size < self.span:
            return np.zeros(z.size, dtype=bool)
        return self._holds(z)


def _all_of(marks: Bools, span: int) -> Bools:
    """Whether each of the last ``span`` points is marked; False before there are so many."""
    sums = np.convolve(marks.astype(float), np.ones(span))[: marks.size]
    return np.asarray(sums == span)


def _some_of(need: int, span: int, beyond: float) -> Callable[[Floats], Bools]:
    """``need`` of the last ``span`` beyond a limit on one side, the point itself among them."""

    def holds(z: Floats) -> Bools:
        found = np.zeros(z.size, dtype=bool)
        for side in (z > beyond, z < -beyond):
            sums = np.convolve(side.astype(float), np.ones(span))[: z.size]
            found |= side & (sums >= need)
        return found

    return holds


def _in_a_row(span: int, test: Callable[[Floats], Bools]) -> Callable[[Floats], Bools]:
    return lambda z: _all_of(test(z), span)


def _one_side(span: int) -> Callable[[Floats], Bools]:
    return lambda z: _all_of(z > 0, span) | _all_of(z < 0, span)


def _trend(span: int) -> Callable[[Floats], Bools]:
    def holds(z: Floats) -> Bools:
        steps = np.diff(z, prepend=np.nan)
        return _all_of(steps > 0, span - 1) | _all_of(steps < 0, span - 1)

    return holds


def _alternating(span: int) -> Callable[[Floats], Bools]:
    def holds(z: Floats) -> Bools:
        steps = np.sign(np.diff(z))
        turns = np.zeros(z.size, dtype=bool)
        turns[2:] = steps[1:] * steps[:-1] < 0
        return _all_of(turns, span - 2)

    return holds


_WE = "Western Electric"
WESTERN_ELECTRIC: tuple[RunRule, ...] = (
    RunRule(_WE, 1, 1, "it lies beyond 3 sigma", _some_of(1, 1, 3.0)),
    RunRule(_WE, 2, 2, "two of three in a row lie beyond 2 sigma on one side", _some_of(2, 3, 2.0)),
    RunRule(_WE, 3, 4, "four of five in a row lie beyond 1 sigma on one side", _some_of(4, 5, 1.0)),
    RunRule(_WE, 4, 8, "eight in a row lie on one side of the center", _one_side(8)),
)

_N = "Nelson"
NELSON: tuple[RunRule, ...] = (
    RunRule(_N, 1, 1, "it lies beyond 3 sigma", _some_of(1, 1, 3.0)),
    RunRule(_N, 2, 9, "nine in a row lie on one side of the center", _one_side(9)),
    RunRule(_N, 3, 6, "six in a row keep rising or keep falling", _trend(6)),
    RunRule(_N, 4, 14, "fourteen in a row go up and down by turns", _alternating(14)),
    RunRule(_N, 5, 2, "two of three in a row lie beyond 2 sigma on one side", _some_of(2, 3, 2.0)),
    RunRule(_N, 6, 4, "four of five in a row lie beyond 1 sigma on one side", _some_of(4, 5, 1.0)),
    RunRule(
        _N,
        7,
        15,
        "fifteen in a row lie within 1 sigma of the center",
        _in_a_row(15, lambda z: np.abs(z) < 1),
    ),
    RunRule(
        _N,
        8,
        8,
        "eight in a row lie beyond 1 sigma, on either side",
        _in_a_row(8, lambda z: np.abs(z) > 1),
    ),
)


def run_rules(name: RuleSet) -> tuple[RunRule, ...]:
    """Give the rules of a published set.

    Examples
    --------
    >>> [r.number for r in run_rules("western electric")]
    [1, 2, 3, 4]
    """
    sets: dict[str, tuple[RunRule, ...]] = {
        "western electric": WESTERN_ELECTRIC,
        "nelson": NELSON,
        "none": (),
    }
    if name not in sets:
        raise InputError(f"rules: {name!r} is not known; use one of {', '.join(sets)}")
    return sets[name]
