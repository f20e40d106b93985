"""What a test asks its tasters, and how figures are said."""

from __future__ import annotations

from coupage.web.guests.models import GuestTest

__all__ = ["instruction", "percent", "probability", "question_of", "times"]

_INSTRUCTIONS = {
    "triangle": "Two of these three cups are the same coffee.",
    "duo-trio": "Taste the reference R first. One of the two cups is the same coffee as R.",
    "2-AFC": "Taste both cups.",
    "3-AFC": "Taste all three cups.",
    "tetrad": "Two of these four cups are one coffee, the other two are another.",
}
_QUESTIONS = {
    "triangle": "Which one is the odd cup?",
    "duo-trio": "Which one is the same as R?",
    "2-AFC": "Which one has more {what}?",
    "3-AFC": "Which one has the most {what}?",
    "tetrad": "Choose two cups that are the same coffee.",
}


def instruction(test: GuestTest) -> str:
    """Return what a taster is told before tasting."""
    return f"{_INSTRUCTIONS[test.kind]} Taste from left to right. If you cannot tell, guess."


def question_of(test: GuestTest) -> str:
    """Return the question that an answer answers."""
    return _QUESTIONS[test.kind].format(what=test.asked_for)


def percent(share: float) -> str:
    """Write a share as a whole per cent that never claims a certainty.

    >>> percent(0.8049), percent(0.99999), percent(0.0001)
    ('80 %', 'over 99 %', 'under 1 %')
    """
    if 0 < share < 0.005:
        return "under 1 %"
    if 0.995 <= share < 1:
        return "over 99 %"
    return f"{100 * share:.0f} %"


def probability(p: float) -> str:
    """Write an exact chance with three digits behind the point, or more when it is small.

    >>> probability(0.0499), probability(0.00032), probability(1e-9)
    ('0.050', '0.00032', 'below 0.0001')
    """
    if p < 1e-4:
        return "below 0.0001"
    return f"{p:.3f}" if p >= 0.001 else f"{p:.5f}"


def times(count: int, one: str, many: str = "") -> str:
    """Write a count with its noun.

    >>> times(1, "answer"), times(3, "answer")
    ('1 answer', '3 answers')
    """
    return f"{count} {one if count == 1 else many or one + 's'}"
