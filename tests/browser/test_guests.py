"""A triangle test, planned on a laptop, joined and answered on phones, closed, and read."""

from __future__ import annotations

import re
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, Route, expect

from tests.browser.conftest import LAPTOP, PHONE, SignIn
from tests.browser.program import Program
from tests.browser.test_main_path import go, heading

NAME = "Phones at the counter"


def plan(page: Page) -> None:
    go(page, "Cuppings")
    page.get_by_role("link", name="Guest tests").click()
    page.get_by_role("link", name="Plan a test").first.click()
    page.get_by_label("Name", exact=True).fill(NAME)
    page.get_by_label("Named").nth(0).fill("Old roast")
    page.get_by_label("Named").nth(1).fill("New roast")
    expect(page.locator("#power")).to_contain_text("answers always settle it")
    page.get_by_role("radio", name="Are they alike enough?").check()
    expect(page.get_by_label("Risk of a false likeness")).to_have_value("5")
    expect(page.locator("#power")).to_contain_text("likeness is shown")
    page.get_by_label("Tasters").fill("3")
    expect(page.locator("#power")).to_contain_text("may well end undecided")
    page.get_by_role("button", name="Deal the trays").click()
    heading(page, NAME)
    page.get_by_role("button", name="Open the test").click()
    page.get_by_role("dialog").get_by_role("button", name="Open the test").click()
    expect(page.locator(".join-letters")).to_be_visible()


@pytest.fixture
def phone(browser: Browser, program: Program) -> Any:
    context = browser.new_context(base_url=program.url, reduced_motion="reduce", **PHONE)
    context.set_default_timeout(15_000)
    yield context.new_page()
    context.close()


def nothing_serious(page: Page) -> None:
    found = Axe().run(page).response["violations"]
    assert [each["id"] for each in found if each["impact"] in {"serious", "critical"}] == []


def join(phone: Page, letters: str, name: str) -> None:
    phone.goto("/join/")
    phone.get_by_label("Code").fill(letters.lower())
    phone.get_by_role("button", name="Go on").tap()
    expect(phone.get_by_role("heading", level=1)).to_have_text(NAME)
    phone.get_by_label("Name").fill(name)
    phone.get_by_role("button", name="Take a seat").tap()
    expect(phone.get_by_text("Which one is the odd cup?")).to_be_visible()


def test_a_triangle_test_from_the_plan_to_the_verdict(sign_in: SignIn, phone: Page) -> None:
    page = sign_in("idris", LAPTOP)
    plan(page)
    test = page.url
    letters = page.locator(".join-letters").inner_text()

    join(phone, letters, "Wren")
    nothing_serious(phone)
    expect(phone.get_by_role("main")).not_to_contain_text(re.compile("Old roast|New roast"))
    cups = phone.locator(".cup-row label")
    expect(cups).to_have_count(3)
    smallest = min(box["height"] for cup in cups.all() if (box := cup.bounding_box()))
    assert smallest >= 48, "wet fingers"
    chosen = cups.nth(1).locator(".cup-code").inner_text()

    # The network goes before the answer is sent, and comes back: nothing is lost or doubled.
    def cut(route: Route) -> None:
        route.abort()

    phone.route("**/guests/tray/**", cut)
    cups.nth(1).tap()
    phone.get_by_role("button", name="Keep my answer").tap()
    expect(phone.locator("#kept")).to_contain_text("sent as soon as the network is back")
    phone.unroute("**/guests/tray/**", cut)
    expect(phone.get_by_role("main")).to_contain_text(f"Your answer {chosen} is kept")
    nothing_serious(phone)

    page.goto(test)
    expect(page.get_by_role("table", name="Trays")).to_contain_text("Wren")
    page.get_by_role("link", name="Enter answers").click()
    heading(page, "Tray 2")
    for _ in range(2):
        page.keyboard.press("2")
        page.keyboard.press("Enter")
        expect(page.get_by_role("status").filter(has_text="is entered").first).to_be_visible()
        page.wait_for_load_state()
    expect(page.get_by_role("main")).to_contain_text("Every answer is in: close the test.")
    assert not re.search("right answers|In the cups", page.get_by_role("main").inner_text())
    page.get_by_role("button", name="Close and judge").click()
    expect(page.get_by_role("main")).to_contain_text(
        re.compile("Not decided|Guests are unlikely|can be told apart")
    )
    expect(page.get_by_role("main")).to_contain_text("of 3")
    nothing_serious(page)

    phone.reload()
    expect(phone.get_by_role("main")).to_contain_text("Thank you")
    phone.goto("/join/" + letters.replace("-", ""))
    expect(phone.get_by_role("main")).to_contain_text("No table has this code now")
