"""Limits on proportions as exact linear inequalities, and the words for them.

A share typed as 0.1 means one tenth, not the binary number nearest to it. Every bound and
coefficient is therefore read as the nearest fraction with a denominator to a million, and what must
be exact - emptiness of bounds, vertices, grids - is computed with these.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from coupage.errors import InputError

__all__ = ["Floats", "Group", "Limit", "bound_limits", "exact", "group_limits"]

Floats = npt.NDArray[np.float64]
_DENOMINATOR = 1_000_000


def exact(value: float) -> Fraction:
    """Read a number as the simplest fraction it can have meant.

    Examples
    --------
    >>> exact(0.1), exact(1 / 3)
    (Fraction(1, 10), Fraction(1, 3))
    """
    return Fraction(value).limit_denominator(_DENOMINATOR)


@dataclass(frozen=True, slots=True)
class Group:
    """A linear limit over several components: ``lower <= sum coefficient * share <= upper``.

    Parameters
    ----------
    coefficients
        Component name to coefficient; components not named count zero. All ones say "together".
    lower, upper
        Either may stay open.
    name
        What the roaster calls it ("washed"), used in messages.

    Examples
    --------
    >>> Group({"Guji": 1, "Huye": 1}, lower=0.3, name="washed").name
    'washed'
    """

    coefficients: Mapping[str, float]
    lower: float = -math.inf
    upper: float = math.inf
    name: str = field(default="", kw_only=True)

    def __post_init__(self) -> None:
        what = f"group {self.name!r}" if self.name else "group"
        if not self.coefficients:
            raise InputError(f"{what}: no components; name at least one with its coefficient")
        if not all(math.isfinite(c) for c in self.coefficients.values()):
            raise InputError(f"{what}: coefficients must be finite numbers")
        if math.isnan(self.lower) or math.isnan(self.upper) or self.lower > self.upper:
            raise InputError(
                f"{what}: lower limit {self.lower} and upper limit {self.upper} must be numbers, "
                "the lower one not above the upper one"
            )
        object.__setattr__(self, "coefficients", MappingProxyType(dict(self.coefficients)))


@dataclass(frozen=True, slots=True)
class Limit:
    """One inequality ``row . x <= bound`` over a few components, and how a roaster says it."""

    row: Mapping[int, Fraction]
    bound: Fraction
    text: str

    def dense(self, q: int) -> Floats:
        row = np.zeros(q)
        for i, c in self.row.items():
            row[i] = float(c)
        return row


def _percent(share: Fraction) -> str:
    return f"{float(100 * share):.6g} %"


def _group_words(group: Group) -> tuple[str, bool]:
    """Name the quantity a group limits; True when it is a share, told in per cent."""
    names = list(group.coefficients)
    together = all(c == 1 for c in group.coefficients.values())
    if group.name:
        return group.name, together
    if together:
        tail = f"{', '.join(names[:-1])} and {names[-1]} together" if names[1:] else names[0]
        return tail, True
    return " + ".join(f"{c:.6g} x {n}" for n, c in group.coefficients.items()), False


def bound_limits(
    names: Sequence[str], lower: Sequence[Fraction], upper: Sequence[Fraction]
) -> list[Limit]:
    """Bounds as inequalities, leaving out those that every share obeys anyway."""
    rows = []
    for i, name in enumerate(names):
        if lower[i] > 0:
            text = f"at least {_percent(lower[i])} {name}"
            rows.append(Limit({i: Fraction(-1)}, -lower[i], text))
        if upper[i] < 1:
            rows.append(Limit({i: Fraction(1)}, upper[i], f"at most {_percent(upper[i])} {name}"))
    return rows


def group_limits(names: Sequence[str], groups: Sequence[Group]) -> list[Limit]:
    """Turn groups into inequalities."""
    place = {name: i for i, name in enumerate(names)}
    rows = []
    for group in groups:
        unknown = [n for n in group.coefficients if n not in place]
        if unknown:
            raise InputError(
                f"groups: {', '.join(map(repr, unknown))} is not a component of this region; "
                f"there are {', '.join(names)}"
            )
        row = {place[n]: exact(c) for n, c in group.coefficients.items() if c != 0}
        words, share = _group_words(group)
        if math.isfinite(group.upper):
            bound = exact(group.upper)
            text = f"{words} at most {_percent(bound) if share else f'{group.upper:.6g}'}"
            rows.append(Limit(row, bound, text))
        if math.isfinite(group.lower):
            bound = exact(group.lower)
            text = f"{words} at least {_percent(bound) if share else f'{group.lower:.6g}'}"
            rows.append(Limit({i: -c for i, c in row.items()}, -bound, text))
    return rows
