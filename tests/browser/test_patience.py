"""What happens around a deed: pressed twice, slow to answer, printed."""

from __future__ import annotations

import re

from playwright.sync_api import Page, Route, expect

from tests.browser.conftest import PHONE, SignIn


def pages_of(pdf: bytes) -> int:
    """Count the pages of a PDF (ISO 32000-1:2008, 7.7.3.3: each is a dictionary of Type Page)."""
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf))


def test_a_button_pressed_twice_does_its_deed_once(sign_in: SignIn) -> None:
    page = sign_in("idris")
    page.goto("/coffees/add/")
    page.get_by_label("Name").fill("Pressed Twice")
    # Chromium drops a second submission by itself; other browsers send both, so ask our script.
    refused = page.evaluate(
        """() => {
            const refused = [];
            const form = document.querySelector("main form[method=post]");
            addEventListener("submit", (event) => {
                refused.push(event.defaultPrevented);
                event.preventDefault();
            });
            form.requestSubmit();
            form.requestSubmit();
            return refused;
        }"""
    )
    assert refused == [False, True]


def test_a_search_that_takes_long_says_so_until_it_answers(sign_in: SignIn) -> None:
    page = sign_in("bram", PHONE)
    page.goto("/briefs/")
    held: list[Route] = []
    said: list[str] = []

    def note_shown(text: str) -> None:
        # The answer is let go only now: without a note the page would wait for ever.
        said.append(text)
        held.pop().continue_()

    page.route("**/choose/", lambda route: held.append(route), times=1)
    page.expose_function("noteShown", note_shown)
    page.evaluate(
        """() => new MutationObserver((changes, watch) => {
            const note = document.querySelector(".busy[role=status]");
            if (!note?.querySelector("progress")) return;
            watch.disconnect();
            window.noteShown(note.textContent);
        }).observe(document.body, { childList: true })"""
    )
    page.get_by_role("link", name="Choose a recipe").first.click(no_wait_after=True)
    expect(page.get_by_role("heading", level=1)).to_have_text("Choose a recipe", timeout=60_000)
    assert said[0].startswith("Looking through all recipes")


def test_a_search_that_takes_long_can_be_stopped_and_asked_again(sign_in: SignIn) -> None:
    page = sign_in("bram")
    page.goto("/briefs/")
    held: list[Route] = []
    page.route("**/choose/", lambda route: held.append(route), times=1)
    page.evaluate(
        """() => new MutationObserver((changes, watch) => {
            const stop = document.querySelector(".busy[role=status] button");
            if (!stop) return;
            watch.disconnect();
            document.body.dataset.stopped = stop.textContent;
            stop.click();
        }).observe(document.body, { childList: true })"""
    )
    page.get_by_role("link", name="Choose a recipe").first.click(no_wait_after=True)
    expect(page.locator("body[data-stopped=Stop]")).to_be_attached()
    expect(page.locator(".busy")).to_have_count(0)
    expect(page.get_by_role("heading", level=1)).to_have_text("Briefs")
    assert len(held) == 1
    page.get_by_role("link", name="Choose a recipe").first.click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Choose a recipe", timeout=60_000)


def write_recipe_of_six(page: Page) -> None:
    page.goto("/blends/add/")
    page.get_by_label("Name").fill("Six at once")
    page.get_by_role("button", name="Add the blend").click()
    shares = ("31", "23", "19", "13", "9", "5")
    for i, share in enumerate(shares):
        if page.get_by_label("Coffee").count() <= i:
            page.get_by_role("button", name="Add a component").click()
        page.get_by_label("Coffee").nth(i).select_option(index=i + 1)
        page.get_by_label("Share").nth(i).fill(share)
    expect(page.get_by_text("100 %: adds up")).to_be_visible()
    page.get_by_role("button", name="Make it a trial").click()
    expect(page.get_by_role("heading", level=1)).to_have_text(
        "Six at once, version 1", timeout=60_000
    )


def test_a_weighing_sheet_is_one_page_also_when_it_is_full(sign_in: SignIn) -> None:
    page = sign_in("idris")
    write_recipe_of_six(page)
    page.get_by_role("link", name="Weighing sheet").click()
    page.get_by_label("How much blend").fill("5,01")
    page.get_by_label("In how many loads").fill("50")
    page.get_by_role("button", name="Make the sheet").click()
    expect(page.get_by_role("table").get_by_role("row")).to_have_count(8)
    expect(page.get_by_text("Use a finer scale or larger loads.")).to_be_visible()
    assert pages_of(page.pdf(prefer_css_page_size=True)) == 1
