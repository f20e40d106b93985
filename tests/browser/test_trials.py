"""A trial: planned with limits dragged and typed, changed by hand, taken away and sent."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Locator, Page, expect

from tests.browser.conftest import PHONE, SignIn
from tests.browser.test_main_path import go, heading

NAME = "Browser trial"


def limits(page: Page, row: Locator) -> tuple[str, str]:
    boxes = row.locator("input[inputmode=decimal]")
    return boxes.nth(0).input_value(), boxes.nth(1).input_value()


def percent(text: str) -> float:
    return float(text.removesuffix("%"))


def drag(page: Page, handle: Locator, share: float) -> None:
    """Drag a handle to a share of its scale, by mouse."""
    track = handle.locator("xpath=..").bounding_box()
    box = handle.bounding_box()
    assert track
    assert box
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.mouse.move(track["x"] + share * track["width"], track["y"] + track["height"] / 2, steps=4)
    page.mouse.up()


def test_a_trial_is_planned_by_dragging_changed_and_sent(sign_in: SignIn) -> None:
    page = sign_in("idris")
    go(page, "Trials")
    page.get_by_role("link", name="Plan a trial").first.click()
    heading(page, "Plan a trial")
    page.get_by_label("Name").fill(NAME)
    rows = page.locator(".plan-coffees tbody tr").filter(has_not_text="none to weigh from")
    for index in range(3):
        rows.nth(index).get_by_role("checkbox").check()

    first = rows.nth(0)
    lower, upper = first.get_by_role("slider").all()
    drag(page, lower, 0.31)
    drag(page, upper, 0.62)
    assert limits(page, first) == ("30", "60")  # the nearest steps of 5 %
    drag(page, lower, 0.9)
    assert limits(page, first) == ("60", "60")  # never past the other
    lower.press("Home")
    assert limits(page, first) == ("", "60")  # an end of the scale is no limit
    lower.press("ArrowRight")
    lower.press("PageUp")
    expect(lower).to_have_attribute("aria-valuetext", "30 %")
    first.locator("input[inputmode=decimal]").nth(1).fill("72.5")
    expect(upper).to_have_attribute("aria-valuenow", "72.5")
    first.locator("input[inputmode=decimal]").nth(1).fill("70")

    page.get_by_label("A blend's taste comes from").select_option(
        label="only its coffees"
    )  # the quicker search
    page.get_by_role("button", name="Choose the blends").click(timeout=60_000)
    heading(page, NAME)
    expect(page.get_by_role("main")).to_contain_text(re.compile(r"Cup these 6 samples"))
    expect(page.locator(".trial-triangle")).to_be_visible()

    with page.expect_download() as waiting:
        page.locator(".downloads").get_by_role("link", name="CSV").click()
    text = Path(waiting.value.path()).read_text("utf-8-sig")
    shares: dict[str, float] = {}
    listed = []
    for row in csv.DictReader(io.StringIO(text)):
        shares[row["sample"]] = shares.get(row["sample"], 0.0) + percent(row["share"])
        listed.append(row)
    assert len(shares) == 6
    assert all(total == pytest.approx(100) for total in shares.values())
    first_coffee = page.locator(".plan-list thead th").nth(1).inner_text().strip()
    kept = [percent(r["share"]) for r in listed if f"{r['lot']} ({r['approach']})" == first_coffee]
    assert len(kept) == 6
    assert all(30 <= share <= 70 for share in kept)

    page.get_by_role("link", name="Change sample 1").click()
    boxes = page.locator(".shares-by-hand input[inputmode=decimal]")
    for box, value in zip(boxes.all(), ("40", "30", "30"), strict=True):
        box.fill(value)
    page.get_by_role("button", name="See what is lost").click()
    expect(page.get_by_role("main")).to_contain_text(re.compile(r"tells|lost"))
    page.get_by_role("button", name="Keep this blend").click()
    expect(page.get_by_role("main")).to_contain_text("by hand")

    page.get_by_role("link", name="Send to a table").click()
    page.get_by_label("Name of the table").fill(f"{NAME} table")
    page.get_by_role("button", name=re.compile("Send|table")).last.click()
    expect(page.get_by_role("heading", level=1)).to_contain_text(f"{NAME} table")


def test_limits_are_dragged_with_a_finger_and_told_to_a_screen_reader(sign_in: SignIn) -> None:
    page = sign_in("idris", PHONE)
    page.goto("/trials/add/")
    row = page.locator(".plan-coffees tbody tr").first
    slider = row.get_by_role("slider").first
    slider.scroll_into_view_if_needed()
    track = slider.locator("xpath=..").bounding_box()
    assert track
    assert track["height"] >= 48
    page.touchscreen.tap(track["x"] + 0.25 * track["width"], track["y"] + track["height"] / 2)
    assert limits(page, row) == ("25", "")
    expect(row.get_by_role("checkbox")).to_be_checked()
    wide = page.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
    assert wide[0] <= wide[1]
    rules = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
    found = Axe().run(page, options=rules)
    assert found.violations_count == 0, found.generate_report()
