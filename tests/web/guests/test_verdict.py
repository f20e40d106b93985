"""The verdict: the screen says what the room says, once the test is closed."""

from __future__ import annotations

import pytest
from django.test import Client

from coupage.difference import judge, judge_repeated, sequential_plan
from coupage.sheets import read_table
from coupage.web.guests import queries
from coupage.web.guests.actions import running
from coupage.web.guests.models import GuestTest
from coupage.web.guests.views.tests import ANSWERS
from coupage.web.people.models import Person
from tests.web import things
from tests.web.guests.conftest import answer_all, opened

pytestmark = pytest.mark.django_db


def closed(by: Person, rights: list[bool], **more: object) -> GuestTest:
    test = opened(by, **({"tasters": len(rights)} | more))
    answer_all(test, rights, by)
    return running.close_test(test=test, by=by, at=things.NOW)


def test_eight_of_twelve_prove_a_difference(desk: Client, roaster: Person) -> None:
    """ISO 4120:1983, worked example: 8 of 12 assessors right, difference at 5 %."""
    test = closed(roaster, [True] * 8 + [False] * 4)
    page = desk.get(f"/guests/{test.pk}/")
    result = judge("triangle", 8, 12, pd=0.3)
    verdict = page.context["page"].verdict
    assert verdict.word == "different"
    assert verdict.sentence == result.sentence
    facts = dict(verdict.facts)
    assert facts["Right answers"] == "8 of 12"
    assert facts["Chance of so many if nobody can tell"] == f"p = {result.p_different:.3f}"
    assert facts["Would prove a difference"] == f"{result.min_correct} or more"
    distance = f"{result.d_prime:.2f} ({result.d_prime_low:.2f} to {result.d_prime_high:.2f})"
    assert facts["Distance (d-prime), 95 % interval"] == distance
    assert "different" in desk.get("/guests/").context["page"].tests.rows[0].verdict


def test_likeness_is_a_plain_sentence(desk: Client, roaster: Person) -> None:
    test = closed(roaster, [True] * 11 + [False] * 31, question="likeness")
    page = desk.get(f"/guests/{test.pk}/").context["page"]
    assert page.verdict.word == "same"
    assert page.verdict.sentence.startswith("Guests are unlikely to notice (at most ")
    assert page.verdict.sentence == judge("triangle", 11, 42, pd=0.3).sentence


def test_answers_of_one_taster_are_reckoned_with_as_such(desk: Client, roaster: Person) -> None:
    rights = [True, True, True, True, False, True, False, False, True, False, False, False]
    test = opened(roaster, tasters=3, repeats=4)
    answer_all(test, rights, roaster)
    running.close_test(test=test, by=roaster, at=things.NOW)
    page = desk.get(f"/guests/{test.pk}/").context["page"]
    result = judge_repeated("triangle", [4, 1, 1], 4, pd=0.3)
    assert page.verdict.sentence == result.sentence
    assert dict(page.verdict.facts)["Tasters"] == "3"
    assert dict(page.verdict.facts)["How much tasters differ"].startswith(f"{result.spread:.2f}")


def test_a_test_that_may_stop_early_says_when_it_is_clear_but_not_which_way(
    desk: Client, roaster: Person
) -> None:
    test = opened(roaster, tasters=40, stops_early=True, share_ppm=500_000)
    state, after = sequential_plan("triangle", pd=0.5, max_answers=40).run([True] * 40)
    assert (state, after) == ("different", 5)
    answer_all(test, [True] * 4, roaster)
    assert "It is clear by now" not in desk.get(f"/guests/{test.pk}/").text
    fifth = queries.next_set(test)
    assert fifth is not None
    places = sorted(fifth.room("triangle").answer)
    running.give_answer(cups=fifth, picked=places, key="5", by=roaster, at=things.NOW)
    page = desk.get(f"/guests/{test.pk}/")
    assert "It is clear by now: close the test." in page.text
    assert "told apart" not in page.text
    running.close_test(test=test, by=roaster, at=things.NOW)
    verdict = desk.get(f"/guests/{test.pk}/").context["page"].verdict
    assert verdict.sentence == "The two can be told apart (95 % sure)."
    assert dict(verdict.facts)["Clear after"] == "5 answers"


def test_what_is_taken_back_after_the_close_moves_the_verdict(
    desk: Client, roaster: Person
) -> None:
    test = closed(roaster, [True] * 8 + [False] * 4)
    answer = queries.valid_answers(test)[0]
    page = desk.post(
        f"/guests/answers/{answer.pk}/take-back/", {"reason": "saw the key"}, follow=True
    ).context["page"]
    assert page.verdict.sentence == judge("triangle", 7, 11, pd=0.3).sentence
    assert any("1 answer taken back" in note for note in page.verdict.notes)
    desk.post(f"/guests/{test.pk}/reopen/", {"reason": "one more guest"})
    running.close_test(test=test, by=roaster, at=things.NOW)
    notes = desk.get(f"/guests/{test.pk}/").context["page"].verdict.notes
    assert any("opened again after its answer had been seen" in note for note in notes)


def test_nothing_is_left_to_judge_when_every_answer_was_taken_back(
    desk: Client, roaster: Person
) -> None:
    test = closed(roaster, [True])
    answer = queries.valid_answers(test)[0]
    running.take_answer_back(answer=answer, reason="spilt", by=roaster, at=things.NOW)
    assert "there is nothing to judge" in desk.get(f"/guests/{test.pk}/").text


def test_answers_go_out_as_a_file_once_it_is_closed(desk: Client, roaster: Person) -> None:
    test = opened(roaster)
    answer_all(test, [True, False, True], roaster)
    assert desk.get(f"/guests/{test.pk}/answers/").status_code == 404
    running.close_test(test=test, by=roaster, at=things.NOW)
    for kind in ("csv", "xlsx"):
        data = desk.get(f"/guests/{test.pk}/answers/?file={kind}").content
        rows = read_table(data, f"answers.{kind}", ANSWERS).rows
        assert [row["right"] for row in rows] == [True, False, True]
