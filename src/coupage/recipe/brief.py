"""What a blend must taste like: wants, and the brief that gathers them.

A want names an attribute and a range. It speaks in two ways. For the *chance* it is an event:
the mean intensity lies in the range, or it does not. For the *desirability* it is a slope from 0
(useless) to 1 (as wished), as Derringer and Suich proposed [1]_:

========== ============ ========================= =============================================
kind       needs        the event                 desirability
========== ============ ========================= =============================================
at least   low          mean >= low               high given: 0 at low, 1 at high; otherwise
                                                  1 from low up, falling to 0 ``fade`` below it
at most    high         mean <= high              low given: 1 at low, 0 at high; otherwise
                                                  1 up to high, falling to 0 ``fade`` above it
between    low, high    low <= mean <= high       1 inside, falling to 0 ``fade`` outside
close to   low, high    low <= mean <= high       0 at low and at high, 1 at ``target`` (the
                                                  middle unless given)
========== ============ ========================= =============================================

References
----------
.. [1] Derringer, G. & Suich, R. (1980), "Simultaneous optimization of several response
   variables", Journal of Quality Technology 12(4), 214-219.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import KW_ONLY, dataclass
from typing import Literal, get_args

from coupage.errors import InputError

__all__ = ["Brief", "Want", "WantKind"]

WantKind = Literal["at least", "at most", "between", "close to"]


@dataclass(frozen=True, slots=True)
class Want:
    """A wanted range of one attribute.

    Attributes
    ----------
    attribute
        Name of the attribute, as the panel rates it.
    kind
        ``"at least"``, ``"at most"``, ``"between"`` or ``"close to"``.
    low, high
        Ends of the range on the rating scale; see the table of this module.
    importance
        Weight of this want in the desirability, more than 0.
    must
        A must-have: the chance on brief asks that every must-have holds.
    target
        For ``"close to"``: the best value, between low and high; the middle unless given.
    fade
        How far outside the range the desirability has fallen to 0, in points of the scale.

    Raises
    ------
    InputError
        When an end is missing, not finite or the wrong way round.

    Examples
    --------
    >>> Want("body", "at least", low=6, must=True).event
    (6.0, inf)
    """

    attribute: str
    kind: WantKind = "at least"
    low: float | None = None
    high: float | None = None
    importance: float = 1.0
    must: bool = False
    _: KW_ONLY
    target: float | None = None
    fade: float = 1.0

    def __post_init__(self) -> None:
        where = f"want for {self.attribute!r}"
        if not self.attribute:
            raise InputError("want: the attribute has no name; give one, such as 'body'")
        if self.kind not in get_args(WantKind):
            allowed = ", ".join(repr(k) for k in get_args(WantKind))
            raise InputError(f"{where}: kind {self.kind!r} is unknown; use one of {allowed}")
        for name in ("low", "high", "target", "fade", "importance"):
            value = getattr(self, name)
            if value is not None:
                if not math.isfinite(value):
                    raise InputError(f"{where}: {name} is {value}; it must be a finite number")
                object.__setattr__(self, name, float(value))
        self._check_ends(where)
        if self.importance <= 0:
            raise InputError(
                f"{where}: importance {self.importance} must be more than 0; leave the want out "
                "if it does not count"
            )
        if self.fade < 0:
            raise InputError(f"{where}: fade {self.fade} must be 0 or more points of the scale")

    def _check_ends(self, where: str) -> None:
        needed = {"at least": ("low",), "at most": ("high",)}.get(self.kind, ("low", "high"))
        for name in needed:
            if getattr(self, name) is None:
                raise InputError(f"{where}: {self.kind!r} needs {name}=; give it")
        low, high = self._ends
        if low >= high:
            raise InputError(
                f"{where}: low {low:g} must be less than high {high:g}; swap or widen them"
            )
        if self.target is not None and self.kind != "close to":
            raise InputError(f"{where}: only 'close to' has a target, not {self.kind!r}")
        if self.target is not None and not low <= self.target <= high:
            raise InputError(f"{where}: target {self.target:g} lies outside {low:g} to {high:g}")

    @property
    def _ends(self) -> tuple[float, float]:
        low = -math.inf if self.low is None else self.low
        high = math.inf if self.high is None else self.high
        return low, high

    @property
    def event(self) -> tuple[float, float]:
        """The interval in which the mean intensity must lie; an open end is infinite."""
        low, high = self._ends
        return (
            -math.inf if self.kind == "at most" else low,
            math.inf if self.kind == "at least" else high,
        )

    @property
    def slopes(self) -> tuple[float, float, float, float]:
        """Corners of the desirability: it is 0 up to the first, 1 from the second to the third
        and 0 again from the fourth, straight in between.
        """
        low, high = self._ends
        if self.kind == "close to":
            target = (low + high) / 2 if self.target is None else self.target
            return low, target, target, high
        if self.kind == "at least":
            best = low if self.high is None else high
            return (low - self.fade if self.high is None else low), best, math.inf, math.inf
        if self.kind == "at most":
            best = high if self.low is None else low
            return -math.inf, -math.inf, best, (high + self.fade if self.low is None else high)
        return low - self.fade, low, high, high + self.fade


@dataclass(frozen=True, slots=True)
class Brief:
    """What a blend must taste like, and the limits that the roaster sets for it.

    Attributes
    ----------
    name
        Name of the brief.
    wants
        One or more wants. An attribute may have several; their ranges must overlap.
    cost_cap
        Most that a roasted kilogram may cost, in the currency of ``cost_per_kg``.
    max_components
        Most coffees in the cup.
    min_share
        Least share of a coffee that is in the cup at all, a fraction.

    Raises
    ------
    InputError
        When a value is out of its range or wants contradict each other.
    """

    name: str
    wants: tuple[Want, ...]
    cost_cap: float | None = None
    max_components: int = 4
    min_share: float = 0.05

    def __post_init__(self) -> None:
        object.__setattr__(self, "wants", tuple(self.wants))
        where = f"brief {self.name!r}"
        if not self.wants:
            raise InputError(f"{where}: it has no wants; add at least one")
        if self.cost_cap is not None and not (math.isfinite(self.cost_cap) and self.cost_cap > 0):
            raise InputError(f"{where}: cost_cap {self.cost_cap} must be a number more than 0")
        if self.max_components != int(self.max_components) or self.max_components < 1:
            raise InputError(
                f"{where}: max_components {self.max_components} must be a whole number, 1 or more"
            )
        if not 0 <= self.min_share <= 1:
            raise InputError(
                f"{where}: min_share {self.min_share} must be a fraction from 0 to 1 (5 % is 0.05)"
            )
        for attribute, wants in self._by_attribute(self.wants).items():
            low, high = _overlap(wants)
            if low >= high:
                raise InputError(
                    f"{where}: no intensity of {attribute!r} meets all its wants "
                    f"(at least {low:g} and at most {high:g}); mend one of them"
                )

    @staticmethod
    def _by_attribute(wants: Sequence[Want]) -> dict[str, list[Want]]:
        gathered: dict[str, list[Want]] = {}
        for want in wants:
            gathered.setdefault(want.attribute, []).append(want)
        return gathered

    @property
    def attributes(self) -> tuple[str, ...]:
        """Every attribute that a want names, once, in the order of the wants."""
        return tuple(self._by_attribute(self.wants))

    @property
    def events(self) -> dict[str, tuple[float, float]]:
        """Per attribute the interval that "on brief" asks for.

        Only must-haves count. When no want is a must-have, all wants do: a brief without
        must-haves would otherwise be met by everything.
        """
        counting = [w for w in self.wants if w.must] or list(self.wants)
        return {a: _overlap(wants) for a, wants in self._by_attribute(counting).items()}


def _overlap(wants: Sequence[Want]) -> tuple[float, float]:
    return max(w.event[0] for w in wants), min(w.event[1] for w in wants)
