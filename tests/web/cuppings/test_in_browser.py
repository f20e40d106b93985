"""The sheet by keyboard, and every page for everybody (WCAG 2.2 AA by axe)."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.test import Client
from playwright.sync_api import Browser, Page, expect, sync_playwright

from coupage.web.cuppings.models import Rating
from coupage.web.people.models import Person, Role
from tests.web import things
from tests.web.cuppings.conftest import Table

CHROMIUM = os.environ.get("COUPAGE_CHROMIUM") or shutil.which("chromium")
pytestmark = [
    pytest.mark.browser,
    pytest.mark.usefixtures("shared"),
    pytest.mark.skipif(not CHROMIUM, reason="there is no Chromium"),
]
LAPTOP: dict[str, Any] = {"viewport": {"width": 1280, "height": 800}}
PHONE: dict[str, Any] = {
    "viewport": {"width": 360, "height": 740},
    "is_mobile": True,
    "has_touch": True,
}
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    # Playwright keeps an event loop in this thread, where Django would refuse the database.
    with pytest.MonkeyPatch.context() as patch, sync_playwright() as play:
        patch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
        started = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield started
        started.close()


def opened(
    browser: Browser, live_server: Any, who: Person, path: str, device: dict[str, Any]
) -> Page:
    client = Client()
    client.force_login(who)
    name = "coupage-session"
    context = browser.new_context(reduced_motion="reduce", **device)
    cookie = {"name": name, "value": client.cookies[name].value, "url": live_server.url}
    context.add_cookies([cookie])  # type: ignore[list-item]
    page = context.new_page()
    page.goto(live_server.url + path)
    return page


def test_the_sheet_is_filled_by_keyboard_and_a_bad_cell_keeps_what_was_typed(
    browser: Browser, live_server: Any, table: Table
) -> None:
    host = things.person(Role.ROASTER)
    page = opened(browser, live_server, host, f"/cuppings/seats/{table.own.pk}/sheet/", LAPTOP)
    rows = page.locator(".sheet-table").first.locator("tbody tr")
    first, second = (rows.nth(i).locator("input[data-col='0']") for i in (0, 1))
    first.fill("6,5")
    first.press("Enter")
    expect(second).to_be_focused()
    expect(rows.nth(0).locator(".state")).to_contain_text("1 of 2 saved")
    page.keyboard.type("12")
    page.keyboard.press("ArrowUp")
    expect(first).to_be_focused()
    expect(second).to_have_attribute("aria-invalid", "true")
    expect(second).to_have_value("12")
    expect(rows.nth(1).locator(".state")).to_contain_text("not on the scale")
    assert table.values() == ["6.5"]
    second.fill("7")
    second.press("Tab")
    expect(rows.nth(1).locator(".state")).to_contain_text("1 of 2 saved")
    expect(second).not_to_have_attribute("aria-invalid", "true")
    assert Rating.objects.get(cup__code=rows.nth(1).locator("th").inner_text()).by == host
    page.context.close()


@pytest.mark.parametrize("device", [LAPTOP, PHONE, {**LAPTOP, "color_scheme": "dark"}])
def test_every_page_of_a_table_is_accessible(
    device: dict[str, Any], browser: Browser, live_server: Any, table: Table
) -> None:
    host = things.person(Role.ROASTER)
    things.rate_all(table.cupping)
    planned = things.cupping(state="planned", samples=[things.sample()], name="Planned")
    done = things.cupping(state="revealed", revealed_at=things.NOW, name="Done")
    things.rate_all(done)
    seat = table.own.pk
    page = opened(browser, live_server, host, "/cuppings/", device)
    for path in (
        "/cuppings/",
        "/cuppings/add/",
        f"/cuppings/{planned.pk}/",
        f"/cuppings/{planned.pk}/samples/trial/",
        f"/cuppings/{table.cupping.pk}/",
        f"/cuppings/{done.pk}/",
        f"/cuppings/seats/{seat}/sheet/",
        "/cuppings/spread/",
        "/cuppings/steadiness/",
        "/cuppings/samples/",
        "/cuppings/attributes/",
        "/cuppings/protocols/",
        "/cuppings/protocols/add/",
    ):
        page.goto(live_server.url + path)
        found = Axe().run(page, options=RULES).response["violations"]
        told = [(v["id"], [n["target"] for n in v["nodes"]][:4]) for v in found]
        assert not told, path
        width = page.viewport_size["width"]  # type: ignore[index]
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path
    page.context.close()
