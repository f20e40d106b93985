"""The first page says what waits, in a sentence, and no more than the person may know."""

from __future__ import annotations

import pytest
from django.test import Client

from coupage.web.cuppings.models import Taster
from coupage.web.people.models import Person
from tests.web import things
from tests.web.conftest import As

pytestmark = pytest.mark.django_db


def test_an_empty_roastery_is_told_where_to_begin(roaster: Person, signed_in: As) -> None:
    assert "Add the first lot" in signed_in(roaster).get("/").text


def test_what_waits_is_said_in_one_sentence(roaster: Person, signed_in: As) -> None:
    table = things.cupping()
    things.lot(name="Nearly gone", received_kg=20)
    page = signed_in(roaster).get("/")
    assert (
        "Two batches wait for a verdict, one table is not finished and one lot is running low."
        in page.text
    )
    assert table.name in page.text
    assert "Nearly gone" in page.text


def test_nothing_waits_when_all_is_done(roaster: Person, signed_in: As) -> None:
    things.batch(verdict="release")
    assert "Nothing waits." in signed_in(roaster).get("/").text


def test_a_taster_sees_only_the_tables_with_a_seat(taster: Person, signed_in: As) -> None:
    other = things.cupping()
    own = things.cupping(tasters=[Taster.objects.create(name="Tess", person=taster)])
    text = signed_in(taster).get("/").text
    assert own.name in text
    assert other.name not in text
    assert "wait for a verdict" not in text


def test_a_stranger_is_sent_to_sign_in(roastery: object) -> None:
    assert Client().get("/").status_code == 302
