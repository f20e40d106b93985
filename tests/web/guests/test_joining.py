"""Guests join on their phones: a tray of their own by code, and nothing else."""

from __future__ import annotations

import re

import pytest
from django.http import HttpResponse
from django.test import Client

from coupage.web.guests import queries
from coupage.web.guests.actions import running
from coupage.web.guests.models import Answer, CupSet, GuestTest
from coupage.web.guests.places import KIND
from coupage.web.live import joining
from coupage.web.live.models import JoinCode
from coupage.web.people.models import Change, Person
from tests.web import things
from tests.web.guests.conftest import opened
from tests.web.guests.test_running import exchange, plain

pytestmark = pytest.mark.django_db


@pytest.fixture
def test_(roaster: Person) -> GuestTest:
    return opened(roaster, name="Evening test", tasters=4)


@pytest.fixture
def code(test_: GuestTest, roaster: Person) -> JoinCode:
    return joining.make_code(kind=KIND, key=test_.pk, by=roaster, at=things.NOW)


def join(code: JoinCode, name: str, client: Client) -> str:
    answer = client.post(f"/join/{code.letters}/", {"name": name})
    assert answer.status_code == 302, answer.text
    return str(answer.headers["Location"])


def _lasting(answer: HttpResponse) -> dict[str, str]:
    """Return the headers that do not tell the time."""
    return {name: value for name, value in answer.headers.items() if name != "Expires"}


def answer(client: Client, tray: str, picked: str = "1", key: str = "k", turn: str = "1") -> int:
    sent = {"picked": picked, "key": key, "turn": turn}
    return client.post(tray, sent).status_code


def test_the_host_shows_the_code_only_while_the_test_is_under_way(
    test_: GuestTest, desk: Client, roaster: Person
) -> None:
    page = desk.get(f"/guests/{test_.pk}/")
    code = JoinCode.objects.get()
    assert str(code) in page.text
    assert "<svg" in page.text.split('class="invitation"')[1]
    tray = join(code, "Ada", Client())
    answer(Client(), tray)
    running.close_test(test=test_, by=roaster, at=things.NOW)
    assert str(code) not in desk.get(f"/guests/{test_.pk}/").text
    assert Client().get(f"/join/{code.letters}/").status_code == 404


def test_a_guest_gives_a_name_gets_a_tray_and_answers(code: JoinCode, test_: GuestTest) -> None:
    client = Client()
    tray = join(code, " Ada ", client)
    page = client.get(tray)
    cups = test_.trays.get(guest="Ada").sets.get()
    assert all(each in page.text for each in cups.places())
    assert answer(client, tray) == 302
    kept = Answer.objects.get()
    assert (kept.cups, kept.picked, kept.by) == (cups, "1", None)
    assert f"<strong>{cups.places()[1]}</strong> is" in client.get(tray).text
    assert "from a phone" in Change.objects.order_by("-id")[0].note


def test_an_answer_sent_again_after_the_network_came_back_counts_once(
    code: JoinCode, test_: GuestTest
) -> None:
    client = Client()
    tray = join(code, "Ada", client)
    assert [answer(client, tray), answer(client, tray)] == [302, 302]
    assert Answer.objects.count() == 1
    assert answer(client, tray, key="another") == 422


def test_a_guest_who_tapped_the_wrong_cup_answers_once_more(
    code: JoinCode, test_: GuestTest
) -> None:
    client = Client()
    tray = join(code, "Ada", client)
    answer(client, tray)
    client.post(f"{tray}change/")
    assert "Which one is the odd cup?" in client.get(tray).text
    answer(client, tray, picked="2", key="l")
    assert list(Answer.objects.values_list("picked", "void")) == [("1", True), ("2", False)]


def test_two_guests_of_one_name_are_kept_apart(code: JoinCode, test_: GuestTest) -> None:
    join(code, "Ada", Client())
    refused = Client().post(f"/join/{code.letters}/", {"name": "ada"})
    assert refused.status_code == 422
    assert "add a letter to your name" in refused.text
    join(code, "Ada B", Client())
    assert set(test_.trays.exclude(guest="").values_list("guest", flat=True)) == {"Ada", "Ada B"}


def test_when_every_tray_is_taken_the_guest_is_told(code: JoinCode, test_: GuestTest) -> None:
    for name in "ABCD":
        join(code, name, Client())
    refused = Client().post(f"/join/{code.letters}/", {"name": "E"})
    assert "Every tray is taken; ask the host to deal one more." in refused.text


def test_after_the_close_nothing_is_taken_and_nothing_told(
    code: JoinCode, test_: GuestTest, roaster: Person
) -> None:
    early, late = Client(), Client()
    first, second = join(code, "Ada", early), join(code, "Bo", late)
    answer(early, first)
    running.close_test(test=test_, by=roaster, at=things.NOW)
    assert answer(late, second) == 422
    assert Answer.objects.count() == 1
    page = early.get(first).text
    assert "Thank you" in page
    assert "Change my answer" not in page
    assert not re.search(r"North lot|South lot|right answer|wrong", page)


def test_sets_of_one_taster_come_one_after_the_other(roaster: Person) -> None:
    test = opened(roaster, tasters=2, repeats=2)
    code = joining.make_code(kind=KIND, key=test.pk, by=roaster, at=things.NOW)
    client = Client()
    tray = join(code, "Ada", client)
    assert "set 1 of 2" in client.get(tray).text
    answer(client, tray)
    assert "set 2 of 2" in client.get(tray).text
    answer(client, tray, turn="2", key="l")
    assert "Your answers are kept" in client.get(tray).text
    assert client.post(tray, {"picked": "1", "key": "m", "turn": "9"}).status_code == 404


@pytest.mark.parametrize("kind", ["triangle", "duo-trio", "2-AFC", "3-AFC", "tetrad"])
def test_what_a_guest_reaches_is_the_same_whatever_is_in_the_cups(
    kind: str, roaster: Person
) -> None:
    test = opened(roaster, kind=kind, tasters=2, asked_for="body")
    code = joining.make_code(kind=KIND, key=test.pk, by=roaster, at=things.NOW)
    client, other = Client(), Client()
    own, foreign = join(code, "Ada", client), join(code, "Zephyrine", other)
    cups = test.trays.get(guest="Zephyrine").sets.get()
    running.give_answer(
        cups=cups, picked=sorted(cups.room(kind).answer), key="b", by=None, at=things.NOW
    )

    def reached() -> list[str]:
        answers = [client.get(own), other.get(foreign), client.get(f"/join/{code.letters}/")]
        found = [f"{_lasting(each)} {plain(each.text)}" for each in answers]
        assert not any(name in text for text in found for name in ("North lot", "South lot"))
        assert "Zephyrine" not in found[0]
        return found

    before = reached()
    exchange(test)
    assert reached() == before
    assert CupSet.objects.count() == 2
    assert queries.next_set(test) is not None
