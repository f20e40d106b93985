"""Stop as soon as it is clear: Wald's sequential test for difference against likeness."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import ceil, floor, log
from typing import Literal

import numpy as np

from coupage.difference.protocols import (
    TestName,
    check_answers,
    check_risk,
    check_share,
    correct_from_share,
    guess_chance,
)
from coupage.errors import InputError

__all__ = ["SequentialPlan", "SequentialRisks", "sequential_lines", "sequential_plan"]

State = Literal["different", "similar", "go on"]


@dataclass(frozen=True, slots=True)
class SequentialRisks:
    """Exact performance of a sequential plan at one true share of people who tell.

    Attributes
    ----------
    true_pd : float
    different, similar, undecided : float
        Chances of the three ends; they sum to 1.
    mean_answers : float
        Expected number of answers.
    """

    true_pd: float
    different: float
    similar: float
    undecided: float
    mean_answers: float


@dataclass(frozen=True, slots=True)
class SequentialPlan:
    """Two parallel lines in the plane of answers and right answers.

    Attributes
    ----------
    test : str
    pd, alpha, beta : float
        Share that must not be missed; risks of a false "different" and of a false "similar".
    slope, low, high : float
        "similar" at or below ``low + slope * n``, "different" at or above ``high + slope * n``.
    max_answers : int
        The test ends here undecided.
    """

    test: TestName
    pd: float
    alpha: float
    beta: float
    slope: float
    low: float
    high: float
    max_answers: int

    def bars(self, n: int) -> tuple[int, int]:
        """Most right answers for "similar" (-1: none), fewest for "different", after n answers."""
        return (
            max(-1, floor(self.low + self.slope * n + 1e-9)),
            ceil(self.high + self.slope * n - 1e-9),
        )

    def state(self, correct: int, n: int) -> State:
        """Where the test stands after n answers, if it has not ended before."""
        if n == 0 and correct == 0:
            return "go on"
        check_answers(correct, n)
        similar, different = self.bars(n)
        if correct >= different:
            return "different"
        return "similar" if correct <= similar else "go on"

    def run(self, answers: Iterable[bool]) -> tuple[State, int]:
        """State after a row of answers, and the number of answers after which it was reached."""
        correct = n = 0
        for answer in answers:
            n += 1
            correct += bool(answer)
            state = self.state(correct, n)
            if state != "go on" or n == self.max_answers:
                return state, n
        return "go on", n

    def sentence(self, state: State) -> str:
        """The end of a test as a sentence for a guest's ear.

        Examples
        --------
        >>> sequential_plan("triangle", pd=0.3).sentence("similar")
        'Guests are unlikely to notice (fewer than 30 % could, 95 % sure).'
        """
        share = f"{100 * self.pd:.3g} %"
        if state == "different":
            return f"The two can be told apart ({100 * (1 - self.alpha):.3g} % sure)."
        if state == "similar":
            sure = f"{100 * (1 - self.beta):.3g} % sure"
            return f"Guests are unlikely to notice (fewer than {share} could, {sure})."
        return f"Not decided yet: whether {share} of guests could notice is still open."

    def risks(self, true_pd: float) -> SequentialRisks:
        """Exact chances of each end when a share `true_pd` can tell.

        Every path between the lines is followed, so the overshoot that Wald's bounds allow for is
        counted, not approximated.
        """
        p = correct_from_share(self.test, true_pd)
        chance = np.zeros(self.max_answers + 2)
        chance[0] = 1.0
        different = similar = mean = 0.0
        for n in range(1, self.max_answers + 1):
            mean += float(chance.sum())
            chance[1:] = chance[1:] * (1 - p) + chance[:-1] * p
            chance[0] *= 1 - p
            low, high = self.bars(n)
            different += float(chance[high:].sum())
            similar += float(chance[: low + 1].sum())
            chance[high:] = 0.0
            chance[: low + 1] = 0.0
        return SequentialRisks(true_pd, different, similar, float(chance.sum()), mean)


def sequential_lines(p0: float, p1: float, alpha: float, beta: float) -> tuple[float, float, float]:
    """Slope and the two intercepts of Wald's test of p0 against p1 > p0.

    References
    ----------
    .. [1] A. Wald, Sequential Analysis, 1947, chapter 5 (testing the mean of a binomial).

    Examples
    --------
    Wald's numbers for 0.1 against 0.3 at risks 0.02 and 0.03 (from memory).

    >>> [round(v, 3) for v in sequential_lines(0.1, 0.3, 0.02, 0.03)]
    [0.186, -2.583, 2.875]
    """
    spacing = log(p1 / p0) + log((1 - p0) / (1 - p1))
    return (
        log((1 - p0) / (1 - p1)) / spacing,
        log(beta / (1 - alpha)) / spacing,
        log((1 - beta) / alpha) / spacing,
    )


def sequential_plan(
    test: TestName,
    *,
    pd: float,
    alpha: float = 0.05,
    beta: float = 0.05,
    max_answers: int = 300,
) -> SequentialPlan:
    """Plan a difference test that may stop after any answer.

    Parameters
    ----------
    test : {"triangle", "duo-trio", "2-AFC", "3-AFC", "tetrad"}
    pd : float
        Share of people who tell that must not be called similar.
    alpha, beta : float, default: 0.05
        Risk of "different" when nobody tells, and of "similar" when a share `pd` does; their sum
        must stay below 1.
    max_answers : int, default: 300
        Where the test ends undecided.

    Returns
    -------
    SequentialPlan
        Its `risks` tell what the plan really does.

    Raises
    ------
    InputError
        When an argument is out of range.

    Notes
    -----
    Wald guarantees a risk of at most ``alpha / (1 - beta)`` and ``beta / (1 - alpha)``, and at most
    ``alpha + beta`` together. Answers must be independent: one per taster, or tasters alike.

    References
    ----------
    .. [1] A. Wald, Sequential Analysis, 1947, sections 3.2 and 5.3.

    Examples
    --------
    >>> plan = sequential_plan("triangle", pd=0.5)
    >>> plan.bars(10)
    (2, 8)
    >>> plan.run([True] * 10)
    ('different', 5)
    >>> plan.risks(0.0).different < 0.05
    True
    """
    check_risk(alpha, "alpha")
    check_risk(beta, "beta")
    check_share(pd, "pd")
    if not 0 < pd < 1:
        raise InputError(f"pd: {pd} came; the share to be found must lie between 0 and 1")
    if alpha + beta >= 1:
        raise InputError(f"alpha and beta: {alpha} and {beta} came; their sum must stay below 1")
    if max_answers < 1:
        raise InputError(f"max_answers: {max_answers} came; at least 1 answer is needed")
    slope, low, high = sequential_lines(
        guess_chance(test), correct_from_share(test, pd), alpha, beta
    )
    return SequentialPlan(test, pd, alpha, beta, slope, low, high, int(max_answers))
