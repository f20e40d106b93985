"""Blind codes: three digits that a taster with a wet spoon in the hand does not mix up."""

from __future__ import annotations

from collections.abc import Callable, Collection
from itertools import permutations

import numpy as np

from coupage.errors import InputError

__all__ = ["blind_codes"]

# Digits that are still digits when the label lies upside down.
_TURNING = frozenset("01689")
_TRIES = 25


def _plain(code: str) -> bool:
    """Whether a code stands well alone: no leading zero, no 345 or 543, not a code upside down."""
    a, b, c = (int(digit) for digit in code)
    return a != 0 and not (b - a == c - b and abs(b - a) == 1) and not set(code) <= _TURNING


_CODES = tuple(code for code in map("".join, permutations("0123456789", 3)) if _plain(code))


def _far(a: str, b: str) -> bool:
    """Whether two codes differ in at least two places and are not the same digits reordered."""
    return sum(x != y for x, y in zip(a, b, strict=True)) >= 2 and set(a) != set(b)


def _far_at_once(a: str, b: str) -> bool:
    """Whether, besides, the first digit already tells two codes apart."""
    return a[0] != b[0] and _far(a, b)


# Each rule, strictest first, with the largest table for which it is worth a try.
_RULES: tuple[tuple[Callable[[str, str], bool], int], ...] = ((_far_at_once, 9), (_far, 72))


def _pick(
    n: int, codes: list[str], apart: Callable[[str, str], bool], rng: np.random.Generator
) -> list[str] | None:
    """Go through the codes in random order and keep each that is apart from all kept before."""
    kept: list[str] = []
    for index in rng.permutation(len(codes)):
        code = codes[index]
        if all(apart(code, other) for other in kept):
            kept.append(code)
            if len(kept) == n:
                return kept
    return None


def blind_codes(
    n: int, rng: np.random.Generator | None = None, *, avoid: Collection[str] = ()
) -> list[str]:
    """Draw random three-digit blind codes that are easy to tell apart.

    Every code has three different digits, no leading zero, does not count up or down (345, 543)
    and is no other code when the label lies upside down (168 reads 891). Between the codes of one
    table the strictest of these rules that `n` allows holds:

    1. up to 9 codes: the first digits all differ, and rule 2 holds;
    2. up to about 55 codes (always for 50): any two differ in at least two places and no two are
       the same digits in another order, so one slip of eye or thumb never hits another cup;
    3. up to 585 codes: all are distinct.

    Parameters
    ----------
    n : int
        How many codes, from 0 to 585 less those to avoid.
    rng : numpy.random.Generator, optional
        Source of chance; fresh entropy when left out, because a code must not be guessable.
    avoid : collection of str, optional
        Codes not to use, such as those of the last table.

    Returns
    -------
    list of str
        The codes in random order.

    Raises
    ------
    InputError
        When `n` is negative or more than there are codes.

    References
    ----------
    .. [1] ISO 6658:2017, Sensory analysis - Methodology - General guidance (coding of samples by
       random three-digit numbers, different for each sample; from memory).

    Examples
    --------
    >>> import numpy as np
    >>> codes = blind_codes(6, rng=np.random.default_rng(7))
    >>> len({code[0] for code in codes})
    6
    """
    rng = np.random.default_rng() if rng is None else rng
    taken = set(avoid)
    codes = [code for code in _CODES if code not in taken]
    if not 0 <= n <= len(codes):
        raise InputError(
            f"n: {n} codes were asked for; from 0 to {len(codes)} three-digit codes can be drawn "
            f"({len(_CODES)} less {len(_CODES) - len(codes)} to avoid); split the table"
        )
    for apart, largest in _RULES:
        for _ in range(_TRIES if 0 < n <= largest else 0):
            kept = _pick(n, codes, apart, rng)
            if kept is not None:
                return kept
    return [codes[index] for index in rng.permutation(len(codes))[:n]]
