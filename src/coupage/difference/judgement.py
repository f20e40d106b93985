"""What a difference test has shown, in figures and in one plain sentence."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor, nan, sqrt
from typing import Literal

from scipy.special import bdtr, bdtrc

from coupage.difference.exact import assessors_needed, max_correct_similar, min_correct
from coupage.difference.intervals import exact_lower, exact_upper, likelihood_limits
from coupage.difference.protocols import (
    TestName,
    check_answers,
    check_risk,
    correct_from_share,
    guess_chance,
    share_from_correct,
)
from coupage.difference.thurstone import d_prime, slope
from coupage.errors import InputError

__all__ = ["Judgement", "Verdict", "judge"]

Verdict = Literal["similar", "different", "different, but few can tell", "not enough answers"]


@dataclass(frozen=True, slots=True)
class Judgement:
    """Outcome of a difference test.

    Attributes
    ----------
    test : str
    correct, n : int
        Right answers and all answers.
    pd, alpha, beta, level : float
        Largest share of people who tell that still counts as alike; risks; confidence of the
        two-sided intervals.
    verdict : str
        "different" when `correct` reaches `min_correct`; "similar" when it stays at or below
        `max_correct_similar`; both at once is "different, but few can tell"; else "not enough
        answers".
    sentence : str
        The same for a guest's ear.
    p_different : float
        Exact chance of so many right answers, or more, when nobody can tell.
    p_similar : float
        Exact chance of so few right answers, or fewer, when a share `pd` can tell.
    min_correct, max_correct_similar : int
        The two bars, as in the functions of that name.
    proportion_correct, proportion_low, proportion_high : float
    discriminators, discriminators_low, discriminators_high : float
        Share of people who can tell.
    d_prime, d_prime_low, d_prime_high, d_prime_se : float
        Thurstonian distance. The standard error is not a number when the estimate is 0 or
        infinite.
    at_least, at_most : float
        One-sided exact limits of the share who can tell, sure to 1 - alpha and 1 - beta.
    """

    test: TestName
    correct: int
    n: int
    pd: float
    alpha: float
    beta: float
    level: float
    verdict: Verdict
    sentence: str
    p_different: float
    p_similar: float
    min_correct: int
    max_correct_similar: int
    proportion_correct: float
    proportion_low: float
    proportion_high: float
    discriminators: float
    discriminators_low: float
    discriminators_high: float
    d_prime: float
    d_prime_low: float
    d_prime_high: float
    d_prime_se: float
    at_least: float
    at_most: float


def _percent(share: float, rounding: Literal["up", "down", "near"]) -> str:
    exact = round(share * 100, 9)
    whole = ceil(exact) if rounding == "up" else floor(exact + (0.5 if rounding == "near" else 0))
    return f"{whole} %"


def _sure(risk: float) -> str:
    return f"{100 * (1 - risk):.3g} % sure"


def verdict_of(different: bool, similar: bool) -> Verdict:
    """The two findings as one word."""
    if different and similar:
        return "different, but few can tell"
    if different or similar:
        return "different" if different else "similar"
    return "not enough answers"


def sentence_of(
    verdict: Verdict,
    *,
    share: float,
    at_least: float,
    at_most: float,
    alpha: float,
    beta: float,
    needed: int | None,
) -> str:
    """The finding as a sentence; shares are rounded so that the sentence never overstates."""
    most = f"at most {_percent(max(at_most, 0.01), 'up')} could, {_sure(beta)}"
    least = (
        f"about {_percent(share, 'near')} could, at least {_percent(at_least, 'down')}, "
        f"{_sure(alpha)}"
    )
    if verdict == "similar":
        return f"Guests are unlikely to notice ({most})."
    if verdict == "different":
        return f"The two can be told apart ({least})."
    if verdict == "different, but few can tell":
        return f"There is a difference, but few guests would notice ({most})."
    settle = f" A test with {needed} answers would settle it." if needed else ""
    return (
        f"Not decided: from {_percent(at_least, 'down')} to {_percent(at_most, 'up')} of guests "
        f"could notice.{settle}"
    )


def key_doubt(correct: int, n: int, guess: float) -> str:
    """A word of warning when there are fewer right answers than guessing gives in 99 of 100."""
    if float(bdtr(correct, n, guess)) > 0.01:
        return ""
    return (
        " That is fewer right answers than guessing gives: check the key and that the cups were "
        "not mixed up."
    )


def _settling(test: TestName, n: int, pd: float, alpha: float, beta: float) -> int | None:
    """Size of a test that cannot end undecided, larger than this one.

    From the stable size on, no count lies between the two bars; the first size is on a tooth of
    the power's sawtooth where that holds too.
    """
    if not 0 < pd < 1:
        return None
    needed = assessors_needed(test, pd, alpha, beta)
    return needed if needed > n else assessors_needed(test, pd, alpha, beta, rule="stable")


def judge(
    test: TestName,
    correct: int,
    n: int,
    *,
    pd: float,
    alpha: float = 0.05,
    beta: float = 0.05,
    level: float = 0.95,
    interval: Literal["likelihood", "exact"] = "likelihood",
) -> Judgement:
    """Judge a difference test: different, similar, or not enough answers.

    Every answer must come from another taster, or the tasters must not differ in skill; else use
    `judge_repeated`.

    Parameters
    ----------
    test : {"triangle", "duo-trio", "2-AFC", "3-AFC", "tetrad"}
    correct, n : int
        Right answers and all answers.
    pd : float
        Largest share of people who tell that still counts as alike.
    alpha, beta : float, default: 0.05
        Risks of finding a difference where there is none, and of calling alike what `pd` tells.
    level : float, default: 0.95
        Confidence of the two-sided intervals.
    interval : {"likelihood", "exact"}, default: "likelihood"
        Profile likelihood, or Clopper-Pearson cut at guessing, for the two-sided intervals. The
        verdict is exact either way.

    Returns
    -------
    Judgement

    Raises
    ------
    InputError
        When an argument is out of range.

    Notes
    -----
    The share who can tell is that of the people who answered, or of people like them. A roastery's
    crew tells more than its guests do, so what the crew cannot tell, guests hardly will.

    References
    ----------
    .. [1] P. B. Brockhoff and R. H. B. Christensen, "Thurstonian models for sensory discrimination
       tests as generalized linear models", Food Qual. Pref. 21 (2010) 330-338.
    .. [2] R. H. B. Christensen, "Statistical methodology for sensory discrimination tests and its
       implementation in sensR", package vignette, 2023, section 3.1.

    Examples
    --------
    10 of 15 in a 3-AFC [2]_.

    >>> result = judge("3-AFC", 10, 15, pd=0.2)
    >>> [round(v, 4) for v in (result.d_prime, result.d_prime_low, result.d_prime_high)]
    [1.1159, 0.2803, 1.9967]
    >>> judge("triangle", 30, 100, pd=0.2).sentence
    'Guests are unlikely to notice (at most 8 % could, 95 % sure).'
    """
    guess = guess_chance(test)
    check_answers(correct, n)
    for risk, name in ((alpha, "alpha"), (beta, "beta"), (level, "level")):
        check_risk(risk, name)
    if interval not in {"likelihood", "exact"}:
        raise InputError(f'interval: {interval!r} came; use "likelihood" or "exact"')
    if interval == "likelihood":
        low, high = likelihood_limits(correct, n, guess, level)
    else:
        low, high = (f(correct, n, (1 - level) / 2) for f in (exact_lower, exact_upper))
    needed, most = min_correct(test, n, alpha), max_correct_similar(test, n, pd, beta)
    verdict = verdict_of(correct >= needed, correct <= most)
    p = correct / n
    at_least = share_from_correct(test, exact_lower(correct, n, alpha))
    at_most = share_from_correct(test, exact_upper(correct, n, beta))
    distance = d_prime(test, p)
    inside = guess < p < 1
    return Judgement(
        test=test,
        correct=int(correct),
        n=int(n),
        pd=float(pd),
        alpha=alpha,
        beta=beta,
        level=level,
        verdict=verdict,
        sentence=sentence_of(
            verdict,
            share=share_from_correct(test, p),
            at_least=at_least,
            at_most=at_most,
            alpha=alpha,
            beta=beta,
            needed=_settling(test, n, pd, alpha, beta) if verdict == "not enough answers" else None,
        )
        + key_doubt(correct, n, guess),
        p_different=float(bdtrc(correct - 1, n, guess)) if correct else 1.0,
        p_similar=float(bdtr(correct, n, correct_from_share(test, pd))),
        min_correct=needed,
        max_correct_similar=most,
        proportion_correct=p,
        proportion_low=low,
        proportion_high=high,
        discriminators=share_from_correct(test, p),
        discriminators_low=share_from_correct(test, low),
        discriminators_high=share_from_correct(test, high),
        d_prime=distance,
        d_prime_low=d_prime(test, low),
        d_prime_high=d_prime(test, high),
        d_prime_se=sqrt(p * (1 - p) / n) / slope(test, distance) if inside else nan,
        at_least=at_least,
        at_most=at_most,
    )
