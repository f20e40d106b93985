"""The five tests, and the step between answers that are right and people who can tell."""

from __future__ import annotations

from typing import Literal, get_args

from coupage.errors import InputError

__all__ = ["TESTS", "TestName", "correct_from_share", "guess_chance", "share_from_correct"]

TestName = Literal["triangle", "duo-trio", "2-AFC", "3-AFC", "tetrad"]
TESTS: tuple[TestName, ...] = get_args(TestName)

_GUESS: dict[str, float] = {
    "triangle": 1 / 3,
    "duo-trio": 1 / 2,
    "2-AFC": 1 / 2,
    "3-AFC": 1 / 3,
    "tetrad": 1 / 3,
}


def guess_chance(test: TestName) -> float:
    """Chance that a taster who tells nothing apart answers right.

    Raises
    ------
    InputError
        When the test is unknown.

    Examples
    --------
    >>> guess_chance("duo-trio")
    0.5
    """
    try:
        return _GUESS[test]
    except (KeyError, TypeError):
        raise InputError(f"test: {test!r} is not known; use one of {', '.join(TESTS)}") from None


def check_share(value: float, name: str) -> None:
    """Refuse what is no fraction from 0 to 1."""
    if not 0 <= value <= 1:
        raise InputError(f"{name}: {value} came; it must be a fraction from 0 to 1 (20 % is 0.2)")


def check_risk(value: float, name: str) -> None:
    """Refuse a risk that is not strictly between 0 and 1."""
    if not 0 < value < 1:
        raise InputError(f"{name}: {value} came; a risk lies between 0 and 1 (5 % is 0.05)")


def check_answers(correct: int, n: int) -> None:
    """Refuse counts that cannot be."""
    if n < 1 or n != int(n):
        raise InputError(f"n: {n} came; it must be a whole number of answers, at least 1")
    if not 0 <= correct <= n or correct != int(correct):
        raise InputError(f"correct: {correct} came; it must be a whole number from 0 to n = {n}")


def correct_from_share(test: TestName, pd: float) -> float:
    """Proportion of right answers when a share `pd` of people tells and the rest guesses.

    ``guess + (1 - guess) * pd`` (Abbott's correction for guessing).

    Examples
    --------
    >>> round(correct_from_share("triangle", 0.2), 6)
    0.466667
    """
    guess = guess_chance(test)
    check_share(pd, "pd")
    return guess + (1 - guess) * pd


def share_from_correct(test: TestName, proportion_correct: float) -> float:
    """Share of people who tell, from the proportion of right answers; 0 at or below guessing.

    Examples
    --------
    >>> round(share_from_correct("3-AFC", 10 / 15), 6)
    0.5
    """
    guess = guess_chance(test)
    check_share(proportion_correct, "proportion_correct")
    return max(0.0, (proportion_correct - guess) / (1 - guess))
