"""Three standing people, and a browser-less client for each."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from django.db import transaction
from django.test import Client

from coupage.web.demo.load import empty
from coupage.web.people.models import Person, Roastery, Role
from tests.web import things

As = Callable[[Person], Client]


@pytest.fixture
def roastery(db: None) -> Roastery:
    return Roastery.objects.create(name="Test roastery", currency="EUR", time_zone="UTC")


@pytest.fixture
def owner(roastery: Roastery) -> Person:
    return things.person(Role.OWNER)


@pytest.fixture
def roaster(roastery: Roastery) -> Person:
    """The owner of the data in most tests."""
    return things.person(Role.ROASTER)


@pytest.fixture
def viewer(roastery: Roastery) -> Person:
    """The colleague without the right to change things."""
    return things.person(Role.VIEWER)


@pytest.fixture
def taster(roastery: Roastery) -> Person:
    return things.person(Role.TASTER)


@pytest.fixture
def signed_in() -> As:
    """Give a client for a person; the stranger is a plain ``Client()``."""

    def sign_in(person: Person) -> Client:
        client = Client()
        client.force_login(person)
        return client

    return sign_in


@pytest.fixture
def shared(transactional_db: None) -> Iterator[None]:
    """Real transactions; emptied as a demo is, since ledgers and seals hold rows fast."""
    yield
    with transaction.atomic():
        empty()
