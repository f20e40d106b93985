"""Getting in, and out, and set up."""

from __future__ import annotations

import pytest
from django.test import Client

from coupage.web.people.models import Change, Person, Roastery, Role
from tests.web import things
from tests.web.conftest import As

pytestmark = pytest.mark.django_db

SET_UP = {
    "roastery_name": "Far Lamp",
    "currency": "eur",
    "time_zone": "Europe/Lisbon",
    "name": "Ines",
    "sign_in": "Ines",
    "password": things.PASSWORD,
    "again": things.PASSWORD,
}


def test_a_new_installation_leads_to_set_up_and_then_to_work() -> None:
    client = Client()
    assert client.get("/people/sign-in/").headers["Location"] == "/people/set-up/"
    assert client.post("/people/set-up/", SET_UP).status_code == 302
    person = Person.objects.get()
    assert (person.sign_in, person.role) == ("ines", Role.OWNER)
    assert Roastery.objects.get().currency == "EUR"
    assert client.get("/people/").status_code == 200


def test_set_up_happens_once(owner: Person) -> None:
    assert Client().post("/people/set-up/", SET_UP).headers["Location"] == "/people/sign-in/"
    assert Person.objects.count() == 1


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"currency": "E1"}, "currency"),
        ({"time_zone": "Lisboa"}, "time_zone"),
        ({"sign_in": "Inês silva"}, "sign_in"),
        ({"password": "short", "again": "short"}, "password"),
        ({"password": "1234567890", "again": "1234567890"}, "password"),
        ({"again": "another-tin-lantern"}, "again"),
        ({"roastery_name": ""}, "roastery_name"),
    ],
)
def test_what_is_wrong_is_said_beside_its_field_and_nothing_is_kept(
    wrong: dict[str, str], field: str
) -> None:
    answer = Client().post("/people/set-up/", SET_UP | wrong)
    assert answer.status_code == 200
    assert field in answer.context["form"].errors
    assert not Person.objects.exists()
    assert not Roastery.objects.exists()


def test_a_person_signs_in_with_capitals_in_the_name(owner: Person) -> None:
    client = Client()
    typed = {"username": owner.sign_in.upper(), "password": things.PASSWORD}
    assert client.post("/people/sign-in/", typed).headers["Location"] == "/"


def test_a_wrong_password_is_said_and_a_shut_out_person_stays_out(owner: Person) -> None:
    typed = {"username": owner.sign_in, "password": "wrong-tin-lantern"}
    assert "do not belong together" in Client().post("/people/sign-in/", typed).text
    Person.objects.update(is_active=False)
    typed["password"] = things.PASSWORD
    assert Client().post("/people/sign-in/", typed).status_code == 200


def test_the_last_owner_cannot_step_down(owner: Person, signed_in: As) -> None:
    typed = {"name": owner.name, "role": "viewer", "is_active": "on"}
    answer = signed_in(owner).post(f"/people/{owner.pk}/", typed)
    assert "make another person owner first" in answer.text
    owner.refresh_from_db()
    assert owner.role == Role.OWNER


def test_an_owner_adds_a_person_and_history_says_who(owner: Person, signed_in: As) -> None:
    typed = {
        "name": "Rui",
        "sign_in": "Rui",
        "role": "roaster",
        "password": things.PASSWORD,
        "again": things.PASSWORD,
    }
    signed_in(owner).post("/people/add/", typed)
    assert Person.objects.get(sign_in="rui").check_password(things.PASSWORD)
    change = Change.objects.get(kind="people.person", verb="added")
    assert change.by == owner
    assert "password" not in str(change.after)


def test_changing_a_password_needs_the_old_one(owner: Person, signed_in: As) -> None:
    client = signed_in(owner)
    new = {"password": "other-tin-lantern-8", "again": "other-tin-lantern-8"}
    assert client.post("/people/me/password/", new | {"old": "no"}).status_code == 200
    assert client.post("/people/me/password/", new | {"old": things.PASSWORD}).status_code == 302
    owner.refresh_from_db()
    assert owner.check_password("other-tin-lantern-8")
    assert client.get("/people/me/").status_code == 200, "this device stays signed in"


def test_settings_take_kilograms_and_a_comma(owner: Person, signed_in: As) -> None:
    typed = {
        "name": "Far Lamp",
        "currency": "USD",
        "time_zone": "UTC",
        "verdict_chance": "0,95",
        "low_stock_g": "45,5",
    }
    assert signed_in(owner).post("/people/roastery/", typed).status_code == 302
    kept = Roastery.objects.get()
    assert (str(kept.verdict_chance), kept.low_stock_g) == ("0.950", 45_500)
