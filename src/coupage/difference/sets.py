"""Sets of cups for a session: every arrangement as often as every other."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from coupage.difference.protocols import TestName, guess_chance
from coupage.errors import InputError

__all__ = ["CupSet", "cup_sets", "set_orders"]

_ORDERS: dict[str, tuple[str, ...]] = {
    "triangle": ("ABB", "BAA", "AAB", "BBA", "ABA", "BAB"),
    "duo-trio": ("A:AB", "A:BA", "B:AB", "B:BA"),
    "2-AFC": ("AB", "BA"),
    "3-AFC": ("ABB", "BAB", "BBA"),
    "tetrad": ("AABB", "ABAB", "ABBA", "BBAA", "BABA", "BAAB"),
}


@dataclass(frozen=True, slots=True)
class CupSet:
    """One set of cups for one answer.

    Attributes
    ----------
    test : str
    order : str
        What stands in each place, "A" or "B".
    reference : str
        The open reference of a duo-trio, "A" or "B"; else empty.
    """

    test: TestName
    order: str
    reference: str = ""

    @property
    def answer(self) -> frozenset[int]:
        """Places, from 0, that are right to point at.

        Triangle: the odd cup. Duo-trio: the cup like the reference. 2-AFC and 3-AFC: A, the one
        with more of the attribute asked for. Tetrad: the cups of A; naming those of B is as right.
        """
        if self.test == "triangle":
            wanted = min("AB", key=self.order.count)
        else:
            wanted = self.reference or "A"
        return frozenset(i for i, cup in enumerate(self.order) if cup == wanted)

    def is_right(self, places: frozenset[int] | set[int]) -> bool:
        """Whether a taster who points at these places answers right.

        Examples
        --------
        >>> CupSet("triangle", "ABA").is_right({1}), CupSet("tetrad", "ABBA").is_right({1, 2})
        (True, True)
        """
        others = frozenset(range(len(self.order))) - frozenset(places)
        return self.answer == frozenset(places) or (self.test == "tetrad" and self.answer == others)


def set_orders(test: TestName) -> tuple[CupSet, ...]:
    """Every arrangement of a test; a session is balanced when it holds each equally often.

    In a 3-AFC A is the one with more of the attribute and stands once among two of B.

    References
    ----------
    .. [1] ISO 4120:2021, 7.1 (six sequences of the triangle, in multiples of six); ISO 10399:2017
       (balanced reference duo-trio) and ISO 5495:2005, from memory.

    Examples
    --------
    >>> [s.order for s in set_orders("triangle")]
    ['ABB', 'BAA', 'AAB', 'BBA', 'ABA', 'BAB']
    """
    guess_chance(test)
    split = (arrangement.rpartition(":") for arrangement in _ORDERS[test])
    return tuple(CupSet(test, order, reference) for reference, _, order in split)


def _rest(sets: tuple[CupSet, ...], k: int, rng: np.random.Generator) -> list[CupSet]:
    """The k arrangements that level cups and places best, at random among the equally good."""

    def unevenness(chosen: tuple[CupSet, ...]) -> tuple[int, int]:
        cups = sum(s.order.count("A") - s.order.count("B") for s in chosen)
        places = np.zeros(len(sets[0].order), dtype=int)
        for s in chosen:
            places[list(s.answer)] += 1
        references = sum((s.reference == "A") - (s.reference == "B") for s in chosen)
        return abs(cups) + abs(references), int((places**2).sum())

    every = list(combinations(sets, k))
    least = min(unevenness(chosen) for chosen in every)
    good = [chosen for chosen in every if unevenness(chosen) == least]
    return list(good[int(rng.integers(len(good)))])


def cup_sets(
    test: TestName, tasters: int, repeats: int = 1, rng: np.random.Generator | None = None
) -> list[list[CupSet]]:
    """Sets for a session, dealt at random, every arrangement as often as every other.

    Parameters
    ----------
    test : {"triangle", "duo-trio", "2-AFC", "3-AFC", "tetrad"}
    tasters : int
        At least 1.
    repeats : int, default: 1
        Sets for each taster.
    rng : numpy.random.Generator, optional
        Source of chance; fresh entropy when left out.

    Returns
    -------
    list of list of CupSet
        One list per taster. Counts of two arrangements differ by at most one over the session; a
        taster's own sets differ while there are arrangements left.

    Raises
    ------
    InputError
        When a number is below 1 or the test is unknown.

    Examples
    --------
    >>> import numpy as np
    >>> session = cup_sets("triangle", 12, rng=np.random.default_rng(1))
    >>> sum(s[0].order.count("A") for s in session)
    18
    """
    if tasters < 1 or repeats < 1:
        raise InputError(
            f"tasters and repeats: {tasters} and {repeats} came; both must be at least 1"
        )
    rng = np.random.default_rng() if rng is None else rng
    every = set_orders(test)
    whole, rest = divmod(tasters * repeats, len(every))
    blocks = [list(every)] * whole + ([_rest(every, rest, rng)] if rest else [])
    # Equal arrangements lie together and are dealt round the table, so no taster gets one twice
    # before the others are used up.
    turn = rng.permutation(len(every))
    supply = [every[kind] for kind in turn for block in blocks if every[kind] in block]
    hands = [supply[t::tasters] for t in range(tasters)]
    mixed = [[hand[i] for i in rng.permutation(repeats)] for hand in hands]
    return [mixed[i] for i in rng.permutation(tasters)]
