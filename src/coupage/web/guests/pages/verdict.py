"""What the answers of a test have shown: asked for closed tests only, it is a secret before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from coupage.difference import (
    Judgement,
    RepeatedJudgement,
    SequentialPlan,
    judge,
    judge_repeated,
    sequential_plan,
)
from coupage.web.common.drawing import Doubt
from coupage.web.guests import queries
from coupage.web.guests.models import Answer, GuestTest
from coupage.web.guests.pages.wording import percent, probability, times

__all__ = ["VerdictPage", "early_plan", "judged", "told_right", "verdict_page", "verdicts_of"]

# The words of the room as the few words that verdicts have everywhere.
_WORDS = {
    "similar": "same",
    "different": "different",
    "different, but few can tell": "different",
    "not enough answers": "not enough cups",
    "go on": "not enough cups",
}


@dataclass(frozen=True, slots=True)
class VerdictPage:
    """The verdict in a word, a sentence and figures; ``share`` is drawn in per cent."""

    word: str
    sentence: str
    detail: str
    share: Doubt
    wanted: tuple[None, float]
    facts: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]


def told_right(test: GuestTest, answer: Answer) -> bool:
    """Say whether an answer is right."""
    return answer.cups.room(test.kind).is_right(answer.places())


def early_plan(test: GuestTest) -> SequentialPlan:
    """Return the plan of a test that may stop early."""
    return sequential_plan(
        test.kind,  # type: ignore[arg-type]
        pd=test.share,
        alpha=test.alpha,
        beta=test.beta,
        max_answers=test.tasters,
    )


def judged(
    test: GuestTest, answers: Sequence[Answer], level: float = 0.95
) -> Judgement | RepeatedJudgement:
    """Judge the answers: as of people who answered once, or of people who answered repeatedly."""
    correct: dict[int, int] = {}
    given: dict[int, int] = {}
    for answer in answers:
        tray = answer.cups.tray_id
        correct[tray] = correct.get(tray, 0) + told_right(test, answer)
        given[tray] = given.get(tray, 0) + 1
    if max(given.values()) == 1:
        return judge(
            test.kind,  # type: ignore[arg-type]
            sum(correct.values()),
            len(answers),
            pd=test.share,
            alpha=test.alpha,
            beta=test.beta,
            level=level,
        )
    counts = tuple(correct.values()), tuple(given.values())
    return _repeated(test.kind, *counts, test.share, test.alpha, test.beta, level)


@lru_cache(maxsize=256)
def _repeated(
    kind: str,
    correct: tuple[int, ...],
    given: tuple[int, ...],
    share: float,
    alpha: float,
    beta: float,
    level: float,
) -> RepeatedJudgement:
    """Judge repeated answers once; lists ask for the same again and again."""
    return judge_repeated(
        kind,  # type: ignore[arg-type]
        correct,
        given,
        pd=share,
        alpha=alpha,
        beta=beta,
        level=level,
    )


def verdict_page(test: GuestTest) -> VerdictPage | None:
    """Return the verdict on a closed test; None where every answer was taken back."""
    answers = list(queries.valid_answers(test))
    if not answers:
        return None
    result, half, most = (judged(test, answers, level) for level in (0.95, 0.5, 0.9))
    verdict, sentence = result.verdict, result.sentence
    notes = list(_notes(test, answers, result))
    facts = _facts(test, result)
    if test.stops_early:
        plan = early_plan(test)
        state, after = plan.run(told_right(test, answer) for answer in answers)
        sentence = plan.sentence(state)
        facts = (("Clear after", times(after, "answer") if state != "go on" else "not yet"), *facts)
        word, detail = _WORDS[state], ""
        notes.append(
            "The verdict is that of the test that may stop early. The figures are reckoned as if "
            "the number of answers had been fixed before, and lean a little to the side on which "
            "it stopped."
        )
    else:
        word = _WORDS[verdict]
        detail = "but few can tell" if verdict == "different, but few can tell" else ""
    return VerdictPage(
        word=word,
        sentence=sentence,
        detail=detail,
        share=_drawn(result.discriminators, half, most),
        wanted=(None, test.share * 100),
        facts=facts,
        notes=tuple(notes),
    )


def verdicts_of(tests: Sequence[GuestTest]) -> dict[int, str]:
    """Return the verdict words of closed tests, in one query for all of them."""
    answers: dict[int, list[Answer]] = {}
    found = Answer.objects.filter(cups__tray__test__in=tests, void=False)
    for answer in found.select_related("cups__tray").order_by("at", "id"):
        answers.setdefault(answer.cups.tray.test_id, []).append(answer)
    words = {}
    for test in tests:
        given = answers.get(test.pk)
        if not given:
            continue
        if test.stops_early:
            state, _ = early_plan(test).run(told_right(test, answer) for answer in given)
            words[test.pk] = _WORDS[state]
        else:
            words[test.pk] = _WORDS[judged(test, given).verdict]
    return words


def _drawn(
    share: float, half: Judgement | RepeatedJudgement, most: Judgement | RepeatedJudgement
) -> Doubt:
    return Doubt(
        100 * share,
        100 * half.discriminators_low,
        100 * half.discriminators_high,
        100 * most.discriminators_low,
        100 * most.discriminators_high,
    )


def _facts(test: GuestTest, result: Judgement | RepeatedJudgement) -> tuple[tuple[str, str], ...]:
    correct, n = (
        (result.correct, result.n)
        if isinstance(result, Judgement)
        else (sum(result.correct), sum(result.n))
    )
    facts = [
        ("Right answers", f"{correct} of {n}"),
        ("Chance of so many if nobody can tell", f"p = {probability(result.p_different)}"),
    ]
    if isinstance(result, Judgement):
        facts += [
            (
                f"Chance of so few if {percent(test.share)} can tell",
                f"p = {probability(result.p_similar)}",
            ),
            ("Would prove a difference", _from(result.min_correct, n)),
            ("Would prove likeness", _up_to(result.max_correct_similar)),
        ]
    facts += [
        (
            "Share who can tell, 95 % interval",
            (
                f"{percent(result.discriminators)} ({percent(result.discriminators_low)} to "
                f"{percent(result.discriminators_high)})"
            ),
        ),
        (
            "Distance (d-prime), 95 % interval",
            f"{result.d_prime:.2f} ({result.d_prime_low:.2f} to {result.d_prime_high:.2f})",
        ),
    ]
    if isinstance(result, RepeatedJudgement):
        facts += [
            ("Tasters", str(len(result.n))),
            (
                "How much tasters differ",
                (
                    f"{result.spread:.2f} (0 all alike, 1 some always tell and the others never; "
                    f"p = {probability(result.p_spread)})"
                ),
            ),
        ]
    return tuple(facts)


def _from(count: int, n: int) -> str:
    return f"{count} or more" if count <= n else f"more than the {n} there are"


def _up_to(count: int) -> str:
    return f"{count} or fewer" if count >= 0 else "no count of so few answers"


def _notes(
    test: GuestTest, answers: Sequence[Answer], result: Judgement | RepeatedJudgement
) -> list[str]:
    notes = []
    back = Answer.objects.filter(cups__tray__test=test, void=True).count()
    if back:
        notes.append(f"{times(back, 'answer')} taken back; the reasons are in the history.")
    if test.reopened:
        notes.append(
            "This test was opened again after its answer had been seen, so the risks are larger "
            "than those named."
        )
    planned = test.tasters * test.repeats
    if len(answers) < planned and not test.stops_early:
        notes.append(f"It was planned with {planned} answers and closed with {len(answers)}.")
    if isinstance(result, RepeatedJudgement):
        notes.append(
            "Several answers came from one taster. A difference is judged by all answers together; "
            "the share of guests by a model in which tasters differ (beta-binomial)."
        )
    return notes
