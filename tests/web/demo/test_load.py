"""Loading the demo: into an empty database, over another demo, never into real data."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.contrib.auth import authenticate
from django.contrib.auth.password_validation import validate_password
from django.db import connection

from coupage.errors import InputError
from coupage.web.coffees.models import Lot
from coupage.web.cuppings.models import Cupping, Rating
from coupage.web.demo.load import load_demo
from coupage.web.demo.scenario import DEMO_PASSWORD
from coupage.web.people.models import Person, Roastery
from tests.web import things

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 3, 14)


def test_everybody_signs_in_with_the_demo_password() -> None:
    load_demo(today=TODAY)
    people = {person.sign_in: person for person in Person.objects.all()}
    assert {p.role for p in people.values()} == {"owner", "roaster", "taster", "viewer"}
    for name, person in people.items():
        validate_password(DEMO_PASSWORD, person)
        assert authenticate(username=name, password=DEMO_PASSWORD) == person
        assert authenticate(username=name, password="some other words") is None


def test_a_second_load_is_refused_unless_it_may_replace() -> None:
    load_demo(today=TODAY)
    things.lot(name="Added by somebody")
    with pytest.raises(InputError, match="loaded already"):
        load_demo(today=TODAY)
    assert Lot.objects.filter(name="Added by somebody").exists()
    rated = Rating.objects.count()

    later = load_demo(today=TODAY + dt.timedelta(days=3), replace=True)
    connection.check_constraints()
    assert not Lot.objects.filter(name="Added by somebody").exists()
    assert Rating.objects.count() == rated
    assert list(Roastery.objects.all()) == [later]
    planned = Cupping.objects.get(state="planned")
    assert planned.held_at.date() == TODAY + dt.timedelta(days=4)


@pytest.mark.parametrize("replace", [False, True])
@pytest.mark.parametrize(
    "make", [things.person, things.lot, lambda: Roastery.objects.create(name="Ours")]
)
def test_a_real_roastery_is_never_touched(make: Any, replace: bool) -> None:
    kept = make()
    with pytest.raises(InputError, match="of a real roastery"):
        load_demo(today=TODAY, replace=replace)
    kept.refresh_from_db()
    assert not Cupping.objects.exists()


def test_a_load_that_breaks_leaves_nothing_behind(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(self: Any) -> None:
        raise RuntimeError("half way")

    monkeypatch.setattr("coupage.web.demo.write.Writer.write_blends", broken)
    with pytest.raises(RuntimeError, match="half way"):
        load_demo(today=TODAY)
    assert not Roastery.objects.exists()
    assert not Rating.objects.exists()


def test_it_is_written_in_few_statements(django_assert_max_num_queries: Any) -> None:
    # 7,500 rows in bulk, of every app. On one slow core this is half a second; row by row it took
    # minutes, and thousands of statements.
    with django_assert_max_num_queries(300):
        load_demo(today=TODAY)
