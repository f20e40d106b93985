"""How many tasters a test needs and what it would show, while the plan is being typed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil
from typing import Any

from coupage.difference import (
    TESTS,
    TestName,
    assessors_needed,
    correct_from_share,
    d_prime,
    max_correct_similar,
    min_correct,
    power,
    power_similar,
    proportion_correct,
    sequential_plan,
    set_orders,
    share_from_correct,
)
from coupage.errors import InputError
from coupage.web.common.feedback import sentence
from coupage.web.guests.models import MOST_TRAYS, GuestTest
from coupage.web.guests.pages.wording import percent, times

__all__ = ["Asked", "PowerPage", "asked_of", "needed_tasters", "power_page"]


@dataclass(frozen=True, slots=True)
class Asked:
    """The numbers of a plan, as fractions."""

    kind: TestName
    question: str
    share: float
    alpha: float
    beta: float
    tasters: int | None
    repeats: int = 1
    stops_early: bool = False


@dataclass(frozen=True, slots=True)
class OtherTest:
    """What another kind of test would take for the same two coffees."""

    kind: str
    answers: str
    cups: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class PowerPage:
    """What the numbers of a plan lead to, in sentences; or the problem with them."""

    headline: str = ""
    lines: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    others: tuple[OtherTest, ...] = ()
    problem: str = ""


def asked_of(values: Mapping[str, Any]) -> Asked | None:
    """Read the numbers from a form's checked values; None while some are missing."""
    names = ("kind", "question", "share_ppm", "alpha_ppm", "beta_ppm", "repeats")
    if any(values.get(name) in (None, "") for name in names):
        return None
    return Asked(
        kind=values["kind"],
        question=values["question"],
        share=values["share_ppm"] / 1e6,
        alpha=values["alpha_ppm"] / 1e6,
        beta=values["beta_ppm"] / 1e6,
        tasters=values.get("tasters"),
        repeats=values["repeats"],
        stops_early=bool(values.get("stops_early")),
    )


def needed_tasters(asked: Asked) -> int:
    """Return how many tasters give as many answers as the test needs.

    Raises
    ------
    InputError
        When that is more than a test can have.
    """
    answers = assessors_needed(asked.kind, asked.share, asked.alpha, asked.beta)
    tasters = ceil(answers / asked.repeats)
    if tasters > MOST_TRAYS:
        raise InputError(
            f"this would take {answers} answers, more than {MOST_TRAYS} tasters give; allow more "
            "guests to notice or larger risks, or choose another kind of test"
        )
    return tasters


def power_page(asked: Asked | None) -> PowerPage:
    """Say what a plan would take and show."""
    if asked is None:
        return PowerPage(problem="Fill in the numbers to see how many tasters it takes.")
    try:
        needed = assessors_needed(asked.kind, asked.share, asked.alpha, asked.beta)
        tasters = asked.tasters or needed_tasters(asked)
    except InputError as problem:
        return PowerPage(problem=sentence(problem))
    answers = tasters * asked.repeats
    if asked.stops_early:
        return _early(asked, tasters)
    return PowerPage(
        headline=_headline(asked, tasters, answers),
        lines=_lines(asked, answers, needed),
        warnings=tuple(_warnings(asked, answers, needed)),
        others=_others(asked),
    )


def _headline(asked: Asked, tasters: int, answers: int) -> str:
    size = times(tasters, "taster")
    if asked.repeats > 1:
        size += f", {asked.repeats} times each ({answers} answers)"
    if asked.question == GuestTest.Question.LIKENESS:
        chance = power_similar(asked.kind, answers, asked.share, asked.beta)
        return f"With {size}, likeness is shown {percent(chance)} of the time if nobody can tell."
    chance = power(asked.kind, answers, asked.share, asked.alpha)
    return (
        f"With {size}, a difference that {percent(asked.share)} of guests can tell is found "
        f"{percent(chance)} of the time."
    )


def _lines(asked: Asked, answers: int, needed: int) -> tuple[str, ...]:
    from_here = min_correct(asked.kind, answers, asked.alpha)
    up_to = max_correct_similar(asked.kind, answers, asked.share, asked.beta)
    different = (
        f"{from_here} right answers of {answers} or more: they can be told apart."
        if from_here <= answers
        else f"Not even {answers} right answers would prove a difference."
    )
    alike = (
        f"{up_to} right answers or fewer: at most {percent(asked.share)} of guests could notice."
        if up_to >= 0
        else "No count of right answers would prove likeness."
    )
    return different, alike, f"{times(needed, 'answer')} always settle it one way or the other."


def _warnings(asked: Asked, answers: int, needed: int) -> list[str]:
    found = []
    if answers < needed:
        found.append(
            f"{answers} answers are fewer than the {needed} this takes: it may well end undecided."
        )
    if asked.repeats > 1:
        found.append(
            "Several answers of one taster are reckoned with as such. They prove a difference as "
            "well as any, but a few tasters say little about how many guests notice: for likeness "
            "take many tasters, once each."
        )
    return found


def _early(asked: Asked, tasters: int) -> PowerPage:
    try:
        plan = sequential_plan(
            asked.kind, pd=asked.share, alpha=asked.alpha, beta=asked.beta, max_answers=tasters
        )
    except InputError as problem:
        return PowerPage(problem=sentence(problem))
    nobody, some = plan.risks(0.0), plan.risks(asked.share)
    warnings = []
    if asked.repeats > 1:
        warnings.append("A test that may stop early takes one answer of each taster.")
    if max(nobody.undecided, some.undecided) > 0.1:
        warnings.append(
            f"With at most {tasters} tasters it often ends undecided; have more at hand."
        )
    return PowerPage(
        headline=(
            f"About {nobody.mean_answers:.0f} answers are enough if nobody can tell, about "
            f"{some.mean_answers:.0f} if {percent(asked.share)} can; never more than {tasters}."
        ),
        lines=(
            (
                f"If nobody can tell: alike {percent(nobody.similar)}, different "
                f"{percent(nobody.different)}, undecided {percent(nobody.undecided)}."
            ),
            (
                f"If {percent(asked.share)} can tell: alike {percent(some.similar)}, different "
                f"{percent(some.different)}, undecided {percent(some.undecided)}."
            ),
        ),
        warnings=tuple(warnings),
    )


def _others(asked: Asked) -> tuple[OtherTest, ...]:
    """Hold the kinds of test against each other at one distance between the coffees."""
    distance = d_prime(asked.kind, correct_from_share(asked.kind, asked.share))
    found = []
    for kind in TESTS:
        share = share_from_correct(kind, proportion_correct(kind, distance))
        one = set_orders(kind)[0]
        cups = len(one.order) + len(one.reference)
        try:
            answers = assessors_needed(kind, share, asked.alpha, asked.beta)
        except InputError:
            answer_text, cup_text = "too many", "–"
        else:
            answer_text, cup_text = str(answers), str(answers * cups)
        found.append(OtherTest(kind, answer_text, cup_text, kind == asked.kind))
    return tuple(found)
