"""A test under way: answers entered, taken back, kept once; blind until it is closed."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client

from coupage.errors import InputError
from coupage.web.guests import queries
from coupage.web.guests.actions import running
from coupage.web.guests.models import Answer, CupSet, GuestTest
from coupage.web.people.models import Change, Person
from tests.web import things
from tests.web.guests.conftest import answer_all, opened, pick, planned

pytestmark = pytest.mark.django_db


def test_answers_are_entered_one_tray_after_the_other(desk: Client, roaster: Person) -> None:
    test = opened(roaster, tasters=2)
    first = desk.get(f"/guests/{test.pk}/enter/", follow=True)
    assert first.redirect_chain[-1][0].endswith("/enter/1/1/")
    sent = {"picked": "2", "guest": "  Ada  ", "remark": "roasty", "key": "one"}
    after = desk.post(f"/guests/{test.pk}/enter/1/1/", sent)
    assert after.url.endswith("/enter/2/1/")
    answer = Answer.objects.get()
    assert (answer.picked, answer.remark, answer.by) == ("2", "roasty", roaster)
    assert answer.cups.tray.guest == "Ada"
    last = desk.post(f"/guests/{test.pk}/enter/2/1/", {"picked": "0", "key": "two"}, follow=True)
    assert "Every answer is in: close the test." in last.text


def test_an_answer_sent_twice_is_kept_once(desk: Client, roaster: Person) -> None:
    test = opened(roaster)
    for _ in range(2):
        desk.post(f"/guests/{test.pk}/enter/1/1/", {"picked": "2", "key": "same"})
    assert Answer.objects.count() == 1
    other = desk.post(f"/guests/{test.pk}/enter/1/1/", {"picked": "1", "key": "other"})
    assert "has an answer already" in other.text
    assert Answer.objects.count() == 1


@pytest.mark.parametrize(
    ("kind", "picked", "said"),
    [
        ("triangle", [], "Choose the cup"),
        ("triangle", ["7"], "not one of the available choices"),
        ("tetrad", ["1"], "Choose two cups"),
        ("tetrad", ["0", "1", "2"], "Choose two cups"),
    ],
)
def test_the_wrong_number_of_cups_is_told(
    kind: str, picked: list[str], said: str, desk: Client, roaster: Person
) -> None:
    test = opened(roaster, kind=kind)
    sent = {"picked": picked, "guest": "Ada", "key": "one"}
    page = desk.post(f"/guests/{test.pk}/enter/1/1/", sent)
    assert said in page.text
    assert 'value="Ada"' in page.text
    assert not Answer.objects.exists()


def test_two_trays_of_one_name_are_refused_with_a_remedy(desk: Client, roaster: Person) -> None:
    test = opened(roaster)
    desk.post(f"/guests/{test.pk}/enter/1/1/", {"picked": "2", "guest": "Ada", "key": "1"})
    page = desk.post(f"/guests/{test.pk}/enter/2/1/", {"picked": "2", "guest": "ada", "key": "2"})
    assert "Ada has tray 1 already" in page.text
    assert Answer.objects.count() == 1, "the answer is not kept without its name"


def test_an_answer_is_taken_back_with_a_reason_and_put_back(desk: Client, roaster: Person) -> None:
    test = opened(roaster)
    (answer,) = answer_all(test, [True], roaster)
    path = f"/guests/answers/{answer.pk}/take-back/"
    assert "This field is required" in desk.post(path, {"reason": " "}).text
    assert not Answer.objects.get().void
    desk.post(path, {"reason": "the wrong tray"})
    answer.refresh_from_db()
    assert (answer.void, answer.void_reason) == (True, "the wrong tray")
    assert queries.next_set(test) == answer.cups
    assert "the wrong tray" in Change.objects.order_by("-id")[0].note
    desk.post(f"/guests/answers/{answer.pk}/put-back/")
    answer.refresh_from_db()
    assert not answer.void
    assert "counts already" not in desk.get(f"/guests/{test.pk}/").text


def test_an_answer_does_not_come_back_beside_a_newer_one(roaster: Person) -> None:
    test = opened(roaster)
    (old,) = answer_all(test, [True], roaster)
    running.take_answer_back(answer=old, reason="spilt", by=roaster, at=things.NOW)
    answer_all(test, [False], roaster)
    with pytest.raises(InputError, match="has another answer by now"):
        running.put_answer_back(answer=old, by=roaster, at=things.NOW)


def test_guests_take_the_next_free_tray_and_find_it_again(roaster: Person) -> None:
    test = opened(roaster, tasters=2)
    ada = running.take_tray(test=test, guest="Ada", at=things.NOW)
    assert running.take_tray(test=test, guest=" ada ", at=things.NOW) == ada
    assert running.take_tray(test=test, guest="Bo", at=things.NOW).number == 2
    with pytest.raises(InputError, match="every tray is taken"):
        running.take_tray(test=test, guest="Cy", at=things.NOW)
    with pytest.raises(InputError, match="say who tastes"):
        running.take_tray(test=test, guest="  ", at=things.NOW)


def test_a_test_is_opened_and_closed_once_and_not_without_answers(
    desk: Client, roaster: Person
) -> None:
    test = planned(roaster)
    page = desk.post(f"/guests/{test.pk}/close/", follow=True)
    assert "is being set up, not under way" in page.text
    desk.post(f"/guests/{test.pk}/open/")
    assert "has no answer yet" in desk.post(f"/guests/{test.pk}/close/", follow=True).text
    answer_all(test, [True, True, False], roaster)
    desk.post(f"/guests/{test.pk}/close/")
    assert "closed, not under way" in desk.post(f"/guests/{test.pk}/close/", follow=True).text
    test.refresh_from_db()
    with pytest.raises(InputError, match="takes no answers now"):
        answer_all(test, [True] * 4, roaster)
    desk.post(f"/guests/{test.pk}/reopen/", {"reason": "two guests were still tasting"})
    test.refresh_from_db()
    assert (test.state, test.reopened) == ("open", 1)


def _refused(write: Callable[[], Any], saying: str = "") -> None:
    with pytest.raises(IntegrityError, match=saying or None), transaction.atomic():
        write()


def test_the_database_refuses_what_would_break_a_test(roaster: Person) -> None:
    test, waiting = opened(roaster), planned(roaster, name="Waiting")
    cups, other = queries.sets_of(test)[0], queries.sets_of(waiting)[0]

    def answer(**more: Any) -> Answer:
        return Answer.objects.create(
            **({"cups": cups, "picked": "0", "at": things.NOW, "key": "k"} | more)
        )

    _refused(lambda: answer(cups=other), "while a test is under way")
    _refused(lambda: answer(picked="01"), "two in a tetrad, else one")
    _refused(lambda: answer(picked="3"), "cups of its own set")
    _refused(lambda: CupSet.objects.filter(pk=cups.pk).update(order="AAB"), "stay as they are")
    kept = answer()
    _refused(lambda: answer(key="l"))
    _refused(lambda: Answer.objects.filter(pk=kept.pk).update(picked="1"), "never changed")
    _refused(lambda: Answer.objects.filter(pk=kept.pk).update(void=True))
    _refused(lambda: GuestTest.objects.filter(pk=test.pk).update(state="closed"))


# Secrets of a form and of the moment differ from page to page.
_FLEETING = re.compile(
    r'(name="(csrfmiddlewaretoken|key|once)" value="[^"]*"|x-csrftoken[^}]*}|'
    r'<svg[^>]*class="qr".*?</svg>)',
    re.DOTALL,
)


def plain(text: str) -> str:
    """Return a page without what differs each time it is read."""
    return _FLEETING.sub("", text)


def crawl(client: Client, start: list[str]) -> dict[str, str]:
    """Read every page of guest tests that links lead to, the sealed key left sealed."""
    found: dict[str, str] = {}
    ahead = list(start)
    while ahead:
        path = ahead.pop()
        if path in found:
            continue
        answer = client.get(path)
        found[path] = f"{answer.status_code} " + plain(answer.text)
        links = re.findall(r'(?:href|action|hx-get)="(/guests/[^"?#]*)', answer.text)
        ahead += [link for link in links if "/add/" not in link and "-away" not in link]
    return found


@pytest.mark.parametrize("kind", ["triangle", "duo-trio", "2-AFC", "tetrad"])
def test_no_page_tells_what_is_in_a_cup_before_the_close(
    kind: str, desk: Client, roaster: Person
) -> None:
    """Exchange the two coffees in every cup: not one letter of any page may change."""
    test = opened(roaster, kind=kind, tasters=3, asked_for="body")
    answer_all(test, [True, False], roaster)
    before = crawl(desk, ["/guests/", f"/guests/{test.pk}/answers/"])
    assert len(before) > 8
    exchange(test)
    assert crawl(desk, ["/guests/", f"/guests/{test.pk}/answers/"]) == before
    GuestTest.objects.filter(pk=test.pk).update(state="closed", closed_at=things.NOW)
    closed = desk.get(f"/guests/{test.pk}/")
    assert closed.context["page"].verdict is not None
    assert "In the cups" in closed.text


def exchange(test: GuestTest) -> None:
    """Turn each set into another arrangement, as if dealt otherwise."""
    GuestTest.objects.filter(pk=test.pk).update(state="planned", opened_at=None)
    for each in queries.sets_of(test):
        turned = each.order[1:] + each.order[0]
        swapped = turned if test.kind in {"triangle", "tetrad"} else each.order[::-1]
        reference = {"A": "B", "B": "A"}.get(each.reference, "")
        CupSet.objects.filter(pk=each.pk).update(order=swapped, reference=reference)
    GuestTest.objects.filter(pk=test.pk).update(state="open", opened_at=things.NOW)


def test_the_helper_points_right_and_wrong(roaster: Person) -> None:
    for kind in ("triangle", "duo-trio", "2-AFC", "3-AFC", "tetrad"):
        test = planned(roaster, kind=kind, name=kind, asked_for="body")
        for cups in queries.sets_of(test):
            room = cups.room(kind)
            assert room.is_right(set(pick(test, cups, True)))
            assert not room.is_right(set(pick(test, cups, False)))
