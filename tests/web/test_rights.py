"""Every address asks for a right, and strangers are sent to sign in everywhere."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver

from coupage.web.people.access import RIGHTS, may
from coupage.web.people.models import Person, Role
from tests.web.conftest import As

OPEN = {"people:sign-in", "people:sign-out", "people:set-up"}
# Where a code is typed by people without an account, and what only a signed link opens.
STRANGERS = {"live:enter", "live:join", "live:worker"}
BY_TICKET = {
    "guests:change-answer",
    "guests:tray",
    "live:pulse",
    "live:seat",
    "live:sheet",
    "live:touches",
}
UNSIGNED = {"anyone": OPEN, "strangers": STRANGERS, "ticket": BY_TICKET}
NOT_SIGNED_IN = OPEN | STRANGERS | BY_TICKET


def addresses() -> Iterator[tuple[str, str, URLPattern]]:
    """Walk all addresses: name, an address with 1 in every place, and the pattern."""

    def walk(
        resolver: URLResolver, prefix: str, space: str
    ) -> Iterator[tuple[str, str, URLPattern]]:
        for entry in resolver.url_patterns:
            path = prefix + str(entry.pattern)
            if isinstance(entry, URLResolver):
                inside = f"{space}{entry.namespace}:" if entry.namespace else space
                yield from walk(entry, path, inside)
            else:
                filled = re.sub(r"<(?:\w+:)?\w+>", "1", path)
                yield f"{space}{entry.name}", f"/{filled}", entry

    yield from walk(get_resolver(), "", "")


ALL = list(addresses())


def test_the_walk_finds_the_pages() -> None:
    names = {name for name, _, _ in ALL}
    assert {"today", "coffees:index", "batches:batch", "people:me"} <= names
    assert len(names) == len(ALL), "each address has a name of its own"


@pytest.mark.parametrize(
    ("name", "pattern"), [(n, p) for n, _, p in ALL], ids=[n for n, _, _ in ALL]
)
def test_every_view_says_what_right_it_takes(name: str, pattern: URLPattern) -> None:
    right = getattr(pattern.callback, "right", None)
    assert right in RIGHTS or name in UNSIGNED.get(str(right), ())


@pytest.mark.django_db
@pytest.mark.parametrize("name", sorted(BY_TICKET))
def test_what_a_link_opens_is_not_there_without_it(name: str, owner: Person, signed_in: As) -> None:
    path = next(address for found, address, _ in ALL if found == name)
    for client in (Client(), signed_in(owner)):
        assert {client.get(path).status_code, client.post(path).status_code} <= {404, 405}


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("name", "path"),
    [(n, a) for n, a, _ in ALL if n not in NOT_SIGNED_IN],
    ids=[n for n, _, _ in ALL if n not in NOT_SIGNED_IN],
)
@pytest.mark.parametrize("method", ["get", "post"])
def test_a_stranger_is_sent_to_sign_in(name: str, path: str, method: str, owner: Person) -> None:
    answer = getattr(Client(), method)(path)
    assert answer.status_code == 302
    assert answer.headers["Location"].startswith("/people/sign-in/")


@pytest.mark.django_db
@pytest.mark.parametrize("role", Role.values)
def test_a_person_without_the_right_is_refused_everywhere(
    role: str, owner: Person, signed_in: As
) -> None:
    """And nobody else is: a page may be missing (404) or want another method (405), not 403."""
    from tests.web import things

    person = things.person(role)
    client = signed_in(person)
    for name, path, pattern in ALL:
        right = getattr(pattern.callback, "right", "anyone")
        if right in UNSIGNED or name in {"people:password"}:
            continue
        refused = client.get(path).status_code == 403
        if not may(person, right):
            assert refused, f"{role} reads {name}"
            assert client.post(path).status_code == 403, f"{role} posts to {name}"
        else:
            assert not refused, f"{role} is kept from {name}"
