"""One test as it is now: being set up, under way, or closed."""

from __future__ import annotations

from dataclasses import dataclass

from django.urls import reverse

from coupage.units import show_share
from coupage.web.guests import queries
from coupage.web.guests.models import Answer, GuestTest, Side, Tray
from coupage.web.guests.pages.listing import state_of
from coupage.web.guests.pages.verdict import (
    VerdictPage,
    early_plan,
    told_right,
    verdict_page,
)
from coupage.web.guests.pages.wording import question_of, times
from coupage.web.people import history
from coupage.web.people.models import Change

__all__ = ["AnswerRow", "TestPage", "TrayRow", "answer_rows", "test_page"]

_SHOWN = 40


@dataclass(frozen=True, slots=True)
class AnswerRow:
    """An answer as its host sees it; ``right`` and ``held`` are empty until the test is closed."""

    answer: Answer
    tray: Tray
    codes: str
    right: str
    held: str


@dataclass(frozen=True, slots=True)
class TrayRow:
    """A tray: who has it and how far they are."""

    tray: Tray
    codes: str
    done: int
    sets: int
    href: str


@dataclass(frozen=True, slots=True)
class TestPage:
    test: GuestTest
    state: str
    tone: str
    sentence: str
    note: str
    sides: tuple[tuple[Side, str], ...]
    facts: tuple[tuple[str, str], ...]
    trays: tuple[TrayRow, ...]
    answers: tuple[AnswerRow, ...]
    answered: int
    planned: int
    verdict: VerdictPage | None
    enough: bool
    changes: tuple[Change, ...]


def test_page(test: GuestTest) -> TestPage:
    """Compute what the page of a test shows."""
    trays = list(queries.trays_of(test))
    answers = [
        (answer, tray)
        for tray in trays
        for each in tray.sets.all()
        for answer in each.answers.all()
    ]
    closed = test.state == GuestTest.State.CLOSED
    counting = sum(not answer.void for answer, _ in answers)
    planned = sum(len(tray.sets.all()) for tray in trays)
    verdict = verdict_page(test) if closed else None
    enough = test.state == GuestTest.State.OPEN and _enough(test, counting, planned)
    state, tone = state_of(test)
    sentence, note = _said(test, trays, counting, planned, enough)
    return TestPage(
        test=test,
        state=state,
        tone=tone,
        sentence=sentence,
        note=note,
        sides=tuple((side, _href(side)) for side in _sides(test)),
        facts=_facts(test, trays),
        trays=tuple(_tray_row(test, tray) for tray in trays),
        answers=tuple(
            _answer_row(test, answer, tray, closed)
            for answer, tray in sorted(answers, key=lambda found: (found[0].at, found[0].pk))
        ),
        answered=counting,
        planned=planned,
        verdict=verdict,
        enough=enough,
        changes=tuple(history.of(test)[:_SHOWN]),
    )


def _sides(test: GuestTest) -> list[Side]:
    return list(test.sides.select_related("batch", "recipe__blend").order_by("letter"))


def _href(side: Side) -> str:
    if side.batch_id:
        return reverse("batches:batch", args=[side.batch_id])
    if side.recipe_id:
        return reverse("blends:recipe", args=[side.recipe_id])
    return ""


def _enough(test: GuestTest, counting: int, planned: int) -> bool:
    """Say whether the host may close: without saying which way the answers point."""
    if not test.stops_early:
        return counting >= planned
    answers = queries.valid_answers(test)
    state, _ = early_plan(test).run(told_right(test, answer) for answer in answers)
    return state != "go on" or counting >= planned


def _said(
    test: GuestTest, trays: list[Tray], counting: int, planned: int, enough: bool
) -> tuple[str, str]:
    if test.state == GuestTest.State.PLANNED:
        cups = sum(len(each.order) + len(each.reference) for t in trays for each in t.sets.all())
        return (
            f"{times(len(trays), 'tray')} with {cups} cups are dealt. Print, pour, and open.",
            "Which cup holds what is on the pouring sheet only.",
        )
    if test.state == GuestTest.State.CLOSED:
        return "", ""
    if enough and test.stops_early and counting < planned:
        return "It is clear by now: close the test.", "Which way, the next page says."
    if enough:
        return "Every answer is in: close the test.", ""
    return (
        f"{counting} of {times(planned, 'answer')} are in.",
        "Nothing is judged before it closes.",
    )


def _facts(test: GuestTest, trays: list[Tray]) -> tuple[tuple[str, str], ...]:
    size = times(len(trays), "taster") + (
        f", {test.repeats} times each" if test.repeats > 1 else ""
    )
    return (
        ("Test", test.get_kind_display()),
        ("Asked", test.get_question_display()),
        ("Tasters are asked", question_of(test)),
        ("Size", size + (", may stop early" if test.stops_early else "")),
        ("Guests who may notice", show_share(test.share_ppm)),
        ("Risk of a false difference", show_share(test.alpha_ppm)),
        ("Risk of a false likeness", show_share(test.beta_ppm)),
    )


def _tray_row(test: GuestTest, tray: Tray) -> TrayRow:
    sets = list(tray.sets.all())
    waiting = [each for each in sets if all(answer.void for answer in each.answers.all())]
    turn = (waiting or sets)[0].turn
    return TrayRow(
        tray=tray,
        codes="; ".join(each.codes for each in sets),
        done=len(sets) - len(waiting),
        sets=len(sets),
        href=reverse("guests:enter", args=[test.pk, tray.number, turn]),
    )


def _answer_row(test: GuestTest, answer: Answer, tray: Tray, closed: bool) -> AnswerRow:
    cups = next(each for each in tray.sets.all() if each.pk == answer.cups_id)
    codes = cups.places()
    right = ""
    if closed and not answer.void:
        right = "right" if cups.room(test.kind).is_right(answer.places()) else "wrong"
    return AnswerRow(
        answer=answer,
        tray=tray,
        codes=", ".join(codes[place] for place in sorted(answer.places())),
        right=right,
        held=" ".join(cups.order) if closed else "",
    )


def answer_rows(test: GuestTest) -> list[dict[str, object]]:
    """Return the answers of a closed test as rows of a file."""
    rows = []
    given = Answer.objects.filter(cups__tray__test=test).select_related("cups__tray")
    for answer in given.order_by("at", "id"):
        codes = answer.cups.places()
        rows.append(
            {
                "tray": answer.cups.tray.number,
                "set": answer.cups.turn,
                "guest": answer.cups.tray.guest,
                "answered at": answer.at,
                "codes": answer.cups.codes,
                "in the cups": answer.cups.order,
                "picked": " ".join(codes[place] for place in sorted(answer.places())),
                "right": told_right(test, answer),
                "remark": answer.remark,
                "taken back because": answer.void_reason,
            }
        )
    return rows
