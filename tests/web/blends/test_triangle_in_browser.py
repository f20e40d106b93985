"""The blend triangle by mouse, touch, keys and typing; its figures beside the server's."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from statistics import median
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.test import Client
from playwright.sync_api import Browser, Locator, Page, expect, sync_playwright

from coupage.web.blends.models import Recipe
from coupage.web.people.models import Person
from tests.web import things
from tests.web.blends.conftest import Four

CHROMIUM = os.environ.get("COUPAGE_CHROMIUM") or shutil.which("chromium")
pytestmark = [
    pytest.mark.browser,
    pytest.mark.usefixtures("shared"),
    pytest.mark.skipif(not CHROMIUM, reason="there is no Chromium"),
]
LAPTOP: dict[str, Any] = {"viewport": {"width": 1280, "height": 800}}
PHONE: dict[str, Any] = {
    "viewport": {"width": 390, "height": 844},
    "is_mobile": True,
    "has_touch": True,
}
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
FRAME_MS = 1000 / 60

HELD_AGAINST_THE_SERVER = (Path(__file__).parent / "held_against_the_server.js").read_text()


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    # Playwright keeps an event loop in this thread, where Django would refuse the database.
    with pytest.MonkeyPatch.context() as patch, sync_playwright() as play:
        patch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
        started = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield started
        started.close()


def opened(
    browser: Browser,
    live_server: Any,
    who: Person,
    path: str,
    device: dict[str, Any] = LAPTOP,
    *,
    ready: bool = True,
) -> Page:
    client = Client()
    client.force_login(who)
    name = "coupage-session"
    context = browser.new_context(base_url=live_server.url, reduced_motion="reduce", **device)
    cookie = {"name": name, "value": client.cookies[name].value, "url": live_server.url}
    context.add_cookies([cookie])  # type: ignore[list-item]
    page = context.new_page()
    page.goto(path)
    if ready:
        expect(page.locator("[data-canvas][data-fine]")).to_be_attached()
    return page


def middle(handle: Locator) -> tuple[float, float]:
    box = handle.bounding_box()
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def shares(page: Page) -> list[float]:
    read = "(boxes) => boxes.map((box) => Number(box.value))"
    found: list[float] = page.locator("[data-coffees] input[type=text]").evaluate_all(read)
    return found


def test_every_figure_of_the_browser_is_the_servers_to_the_sixth_digit(
    browser: Browser, live_server: Any, four: Four, roaster: Person
) -> None:
    page = opened(browser, live_server, roaster, four.path)
    found = page.evaluate(HELD_AGAINST_THE_SERVER)
    assert found["figures"] > 16 * 15
    assert found["worst"] < 1e-6
    assert found["broken"] == 0
    page.context.close()


def test_the_handle_follows_the_mouse_within_a_frame_and_the_way_back_is_kept(
    browser: Browser, live_server: Any, four: Four, roaster: Person
) -> None:
    page = opened(browser, live_server, roaster, four.path)
    before, answer = shares(page), page.locator("[data-answer]").inner_text()
    handle = page.get_by_role("slider", name="Proposed recipe")
    x, y = middle(handle)
    page.mouse.move(x, y)
    page.mouse.down()
    for step in range(1, 41):
        page.mouse.move(x + 2 * step, y + step)
    page.mouse.up()
    expect(page.locator("[data-answer]")).not_to_have_text(answer)
    after = shares(page)
    # Right is more of the right corner, down is less of the top one; the fourth is held.
    assert after[2] > before[2]
    assert after[0] < before[0]
    assert after[3] == before[3]
    assert sum(after) == 100
    expect(page).to_have_url(re.compile(rf"\?r=\d+-{after[0]:g}\."))
    frames = page.evaluate("performance.getEntriesByName('triangle frame').map((e) => e.duration)")
    assert len(frames) > 10
    assert median(frames) < FRAME_MS
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("[data-answer]")).to_have_text(answer)
    assert shares(page) == before
    page.keyboard.press("Control+Shift+Z")
    expect(page.locator("[data-answer]")).not_to_have_text(answer)
    assert shares(page) == after
    page.context.close()


def test_a_finger_drags_the_handle_and_a_tap_places_it_also_without_the_network(
    browser: Browser, live_server: Any, four: Four, roaster: Person
) -> None:
    page = opened(browser, live_server, roaster, four.path, PHONE)
    page.context.set_offline(True)
    handle = page.get_by_role("slider", name="Proposed recipe")
    handle.evaluate("(element) => element.scrollIntoView({ block: 'center' })")
    before = shares(page)
    x, y = middle(handle)
    wire = page.context.new_cdp_session(page)
    touch = {"type": "touchStart", "touchPoints": [{"x": x, "y": y}]}
    wire.send("Input.dispatchTouchEvent", touch)
    for step in range(1, 9):
        points = [{"x": x - 6 * step, "y": y + 3 * step}]
        wire.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": points})
    wire.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    expect(page.get_by_role("button", name="Undo")).to_be_enabled()
    dragged = shares(page)
    assert dragged[1] > before[1]
    assert sum(dragged) == 100
    nx, ny = middle(handle)
    said = page.locator("[data-answer]").inner_text()
    page.touchscreen.tap(nx + 60, ny)
    expect(page.locator("[data-answer]")).not_to_have_text(said)
    tapped = shares(page)
    assert tapped[2] > dragged[2]
    assert sum(tapped) == 100
    expect(page.locator("[data-strip-chance]")).to_contain_text("on brief")
    page.context.close()


def test_four_coffees_with_a_lock_add_up_by_keys_and_typing(
    browser: Browser, live_server: Any, four: Four, roaster: Person
) -> None:
    page = opened(browser, live_server, roaster, four.path)
    boxes = page.get_by_label("in per cent")
    boxes.nth(3).fill("12,5")
    boxes.nth(3).press("Enter")
    expect(boxes.nth(3)).to_have_value("12.5")
    assert sum(shares(page)) == 100
    page.get_by_role("button", name="Lock Fourth").click()
    expect(boxes.nth(3)).to_be_disabled()
    handle = page.get_by_role("slider", name="Proposed recipe")
    handle.focus()
    before = shares(page)
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowUp")
    expect(boxes.nth(0)).to_have_value(f"{before[0] + 10:g}")
    after = shares(page)
    assert after[3] == 12.5
    assert sum(after) == 100
    expect(handle).to_have_attribute("aria-valuenow", f"{after[0]:g}")
    # What cannot be is said, and nothing moves.
    boxes.nth(0).fill("a lot")
    boxes.nth(0).press("Enter")
    expect(page.locator("[data-refused]")).to_contain_text("is not a share")
    expect(boxes.nth(0)).to_have_attribute("aria-invalid", "true")
    expect(boxes.nth(0)).to_have_value("a lot")
    assert shares(page)[1:] == after[1:]
    # Asked for more than the lock leaves, it takes all there is.
    boxes.nth(0).fill("99")
    boxes.nth(0).press("Enter")
    expect(boxes.nth(0)).to_have_value("87.5")
    # Another coffee comes to the top corner; the recipe stays what it is.
    page.get_by_label("Corner of Fourth").select_option("top")
    expect(handle).to_have_attribute("aria-valuenow", "12.5")
    expect(page.get_by_label("Corner of First")).to_have_value("3")
    page.context.close()


def test_a_link_holds_the_recipe_and_it_is_saved_as_a_trial(
    browser: Browser, live_server: Any, four: Four, roaster: Person
) -> None:
    page = opened(browser, live_server, roaster, four.path)
    page.get_by_label("in per cent").nth(1).fill("41")
    page.get_by_label("in per cent").nth(1).press("Enter")
    page.get_by_label("Shade by").select_option("body")
    expect(page.get_by_text("Shading: body, believed mean")).to_be_visible()
    link = page.get_by_label("Link to this recipe").input_value()
    said, wanted = page.locator("[data-answer]").inner_text(), shares(page)
    page.goto(link)
    expect(page.locator("[data-answer]")).to_have_text(said)
    expect(page.get_by_label("Shade by")).to_have_value("body")
    assert shares(page) == wanted
    page.get_by_role("button", name="Save as trial recipe").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Ferry, version 2")
    saved = Recipe.objects.get(version=2)
    assert sorted(s.share_ppm / 10_000 for s in saved.shares.all()) == sorted(
        share for share in wanted if share
    )
    page.context.close()


@pytest.mark.parametrize("device", [LAPTOP, PHONE, {**LAPTOP, "color_scheme": "dark"}])
def test_the_triangle_is_accessible(
    device: dict[str, Any], browser: Browser, live_server: Any, four: Four, roaster: Person
) -> None:
    page = opened(browser, live_server, roaster, four.path, device)
    found = Axe().run(page, options=RULES).response["violations"]
    assert not [(v["id"], [n["target"] for n in v["nodes"]][:4]) for v in found]
    width = page.viewport_size["width"]  # type: ignore[index]
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    # The table says what the picture shows: every point that stands there, with its chance.
    points = page.locator("[data-svg] .point")
    expect(page.locator("[data-points] tr")).to_have_count(points.count())
    expect(page.locator("[data-points] tr").first).to_contain_text("%")
    page.context.close()


def test_a_want_is_dragged_on_its_scale_and_moved_by_keys(
    browser: Browser, live_server: Any, four: Four, roaster: Person
) -> None:
    things.attribute("liking")
    page = opened(browser, live_server, roaster, f"/briefs/{four.brief.pk}/change/", ready=False)
    low = page.get_by_label("Body: From")
    handle = page.get_by_role("slider", name="body: at least")
    handle.scroll_into_view_if_needed()
    track = page.locator(".bracket-track").first.bounding_box()
    assert track is not None
    x, y = middle(handle)
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(track["x"] + 0.3 * track["width"], y, steps=4)
    page.mouse.up()
    expect(low).to_have_value("3")
    handle.press("ArrowRight")
    expect(low).to_have_value("3.1")
    # A range where nothing was wanted yet says how it is wanted.
    page.get_by_role("slider", name="liking: at most").press("PageDown")
    expect(page.get_by_label("Liking: Wanted")).to_have_value("at most")
    page.get_by_label("Liking: From").fill("2")
    expect(page.get_by_label("Liking: Wanted")).to_have_value("between")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("Liking between 2 and 9.5", exact=True)).to_be_visible()
    expect(page.get_by_text("Body at least 3.1", exact=True)).to_be_visible()
    page.context.close()
