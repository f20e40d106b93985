"""Everybody sees the sections that are theirs, and where they stand."""

from __future__ import annotations

import re

import pytest
from django.test import Client
from django.urls import reverse

import coupage
from coupage.web.common.context import EVERYBODY, MENU, NAVIGATION
from coupage.web.people.models import Person, Role
from tests.web.conftest import As


def sections(html: str) -> dict[str, bool]:
    nav = html.split('aria-label="Sections"')[1].split("</nav>")[0]
    links = re.findall(r"<a href=[^>]*?( aria-current=\"\w+\")?>.*?<span>(\w+)</span>", nav)
    return {label: bool(current) for current, label in links}


ALL = ["Today", "Coffees", "Batches", "Cuppings", "Briefs", "Blends"]


@pytest.mark.usefixtures("pages")
class TestWithPages:
    @pytest.mark.parametrize("role", ["owner", "roaster", "viewer", "taster"])
    def test_navigation_follows_the_role(self, role: str, request: pytest.FixtureRequest) -> None:
        client = Client()
        client.force_login(request.getfixturevalue(role))
        shown = list(sections(client.get("/").text))
        assert shown == (["Today", "Cuppings"] if role == "taster" else ALL)

    @pytest.mark.parametrize(
        ("address", "current"),
        [
            ("/", "Today"),
            ("/coffees/", "Coffees"),
            ("/coffees/7/", "Coffees"),
            ("/briefs/", "Briefs"),
            ("/blends/", "Blends"),
            ("/gallery/", None),
        ],
    )
    def test_one_section_at_most_is_current(
        self, viewer: Person, signed_in: As, address: str, current: str | None
    ) -> None:
        shown = sections(signed_in(viewer).get(address).text)
        assert [name for name, here in shown.items() if here] == ([current] if current else [])

    def test_the_menu_names_the_person_and_the_footer_the_version(
        self, owner: Person, viewer: Person, signed_in: As
    ) -> None:
        html = signed_in(owner).get("/").text
        assert owner.name in html
        assert f"Coupage {coupage.__version__}" in html
        assert 'href="/people/"' in html
        assert 'href="/people/"' not in signed_in(viewer).get("/").text
        assert 'action="/people/sign-out/"' in html

    def test_the_page_can_be_skipped_to_and_says_its_language(
        self, viewer: Person, signed_in: As
    ) -> None:
        html = signed_in(viewer).get("/").text
        assert '<html lang="en">' in html
        assert html.index('href="#main"') < html.index("<header")
        assert 'id="main"' in html

    def test_strangers_are_sent_to_sign_in(self, db: None) -> None:
        assert Client().get("/gallery/").headers["Location"].startswith("/people/sign-in/")


def test_every_entry_leads_somewhere_in_the_program() -> None:
    for entry in (*NAVIGATION, *MENU):
        assert reverse(entry.url_name)


def test_roles_are_spelled_as_the_people_app_spells_them() -> None:
    assert frozenset(Role.values) == EVERYBODY
    assert all(entry.roles <= EVERYBODY for entry in (*NAVIGATION, *MENU))
