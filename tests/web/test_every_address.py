"""What holds at every address: headers, odd methods, rubbish in the query, ids of nothing."""

from __future__ import annotations

import re

import pytest
from django.test import Client

from coupage.web.common.middleware import CONTENT_SECURITY_POLICY
from coupage.web.people.models import Person
from tests.web import things
from tests.web.conftest import As
from tests.web.test_rights import ALL

pytestmark = pytest.mark.django_db
ADDRESSES = [(name, address) for name, address, _ in ALL]
WITH_KEY = [(name, path) for name, path in ADDRESSES if "1" in re.findall(r"\d+", path)]


@pytest.fixture
def client(owner: Person, signed_in: As) -> Client:
    client = signed_in(owner)
    client.raise_request_exception = False
    return client


def test_every_answer_is_fenced_in(client: Client) -> None:
    """Also refusals, pages that are missing, and answers to strangers."""
    # W3C CSP Level 3; RFC 7034 (X-Frame-Options); W3C Referrer Policy; WHATWG Fetch, nosniff.
    wanted = {
        "Content-Security-Policy": CONTENT_SECURITY_POLICY,
        "X-Content-Type-Options": "nosniff",
        "X-Frame-Options": "DENY",
        "Referrer-Policy": "same-origin",
        "Cross-Origin-Opener-Policy": "same-origin",
    }
    for who in (client, Client()):
        for name, address in ADDRESSES:
            headers = who.get(address).headers
            assert {key: headers.get(key) for key in wanted} == wanted, name


def test_no_page_of_a_person_is_kept_by_a_shared_cache(client: Client) -> None:
    for name, address in ADDRESSES:
        answer = client.get(address)
        assert "public" not in answer.headers.get("Cache-Control", ""), name
        if answer.status_code == 200:
            assert "Cookie" in answer.headers.get("Vary", ""), name


def test_a_head_is_answered_like_a_get_and_options_do_nothing(client: Client) -> None:
    for name, address in ADDRESSES:
        got = client.get(address).status_code
        assert got < 500, name
        headed = client.head(address)
        assert headed.status_code in {got, 405}, name
        assert not headed.content, name
        assert client.options(address).status_code < 500, name
        if name != "people:sign-in":  # whoever is signed in is led away from there, however asked
            assert client.put(address, b"x").status_code in {403, 404, 405}, name
            assert client.delete(address).status_code in {403, 404, 405}, name


@pytest.mark.parametrize("key", ["-1", "0", "99999999", "9" * 19, "9" * 40, "1e3", "%00", "١"])
def test_an_id_of_nothing_is_a_page_that_is_missing(key: str, client: Client) -> None:
    for name, address in WITH_KEY:
        path = re.sub(r"(?<=/)1(?=/)", key, address)
        for answer in (client.get(path), client.post(path)):
            assert answer.status_code in {403, 404, 405}, (name, path)


@pytest.mark.parametrize(
    "query",
    [
        "q=%25&sort=-name&page=2",
        "q=" + "x" * 5000,
        "q=%00%FF&page=-1&sort=password",
        "page=99999999999999999999&kept=nothing",
        "q='%20OR%201=1--&sort=name;drop",
        "kept=away&kept=use&verdict=%F0%9F%98%80",
    ],
)
def test_rubbish_in_the_query_breaks_no_page(query: str, client: Client) -> None:
    things.recipe()
    things.batch()
    for name, address in ADDRESSES:
        assert client.get(f"{address}?{query}").status_code < 500, name


@pytest.mark.parametrize("path", ["/coffees/", "/batches/", "/briefs/", "/blends/", "/orders/"])
def test_wildcards_of_the_database_are_letters_in_a_search(path: str, client: Client) -> None:
    lot = things.lot(name="A_b 100% c\\d")
    other = things.lot(name="Axb 1000 cd")
    version = things.approach_version(lot=lot)
    things.batch(approach_version=version, number="A_b 100% c\\d")
    things.batch(approach_version=things.approach_version(lot=other), number="Axb 1000 cd")
    for name in ("A_b 100% c\\d", "Axb 1000 cd"):
        things.brief(name=name)
        recipe = things.recipe()
        recipe.blend.name = name
        recipe.blend.save()
        things.order(number=name, due_on=things.NOW.date())
    for words in ("_b", "100%", "\\d"):
        page = client.get(path, {"q": words})
        assert "Axb 1000 cd" not in page.text, words
        assert "A_b 100% c\\d" in page.text, words


def test_no_choice_is_a_row_of_dashes(client: Client) -> None:
    things.recipe()
    things.batch()
    things.brief()
    for name, address in ADDRESSES:
        answer = client.get(address)
        assert answer.streaming or b"---------" not in answer.content, name
