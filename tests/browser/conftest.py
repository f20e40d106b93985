"""A browser on a laptop and on a phone, before the real program."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from tests.browser.program import Program, running

FAILURES = Path(__file__).parent / "failures"
LAPTOP: dict[str, Any] = {"viewport": {"width": 1280, "height": 800}}
PHONE: dict[str, Any] = {
    "viewport": {"width": 390, "height": 844},
    "device_scale_factor": 2,
    "is_mobile": True,
    "has_touch": True,
}
SignIn = Callable[..., Page]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.browser)


def chromium() -> str | None:
    return os.environ.get("COUPAGE_CHROMIUM") or shutil.which("chromium")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    path = chromium()
    if path is None:
        if os.environ.get("CI"):
            pytest.fail("there is no Chromium, and CI never goes without")
        pytest.skip("there is no Chromium; name one with COUPAGE_CHROMIUM")
    with sync_playwright() as play:
        started = play.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield started
        started.close()


@pytest.fixture(scope="session")
def program(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Program]:
    """Give one program to all tests; each keeps to things of its own."""
    folder = tmp_path_factory.mktemp("data")
    with running(folder, os.environ.get("COUPAGE_DATABASE", "")) as started:
        yield started


@pytest.fixture
def sign_in(browser: Browser, program: Program, request: pytest.FixtureRequest) -> Iterator[SignIn]:
    """Sign somebody in on a device; a test fails on any complaint in the browser's console."""
    opened: list[Page] = []
    complaints: list[str] = []

    def open_page(who: str, device: dict[str, Any] = LAPTOP, **more: Any) -> Page:
        context = browser.new_context(
            base_url=program.url, reduced_motion="reduce", **device, **more
        )
        context.set_default_timeout(15_000)
        page = context.new_page()
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on(
            "console",
            lambda message: complaints.append(message.text) if message.type == "error" else None,
        )
        page.goto("/people/sign-in/")
        page.get_by_label("Sign-in name").fill(who)
        page.get_by_label("Password").fill(program.password)
        page.get_by_role("main").get_by_role("button", name="Sign in").click()
        page.wait_for_url("**/")
        opened.append(page)
        return page

    yield open_page
    if request.session.testsfailed:
        FAILURES.mkdir(exist_ok=True)
        for number, page in enumerate(opened):
            page.screenshot(path=FAILURES / f"{request.node.name}-{number}.png", full_page=True)
    for page in opened:
        page.context.close()
    # A refused form answers 422, which the browser reports as an error of the network.
    assert not [text for text in complaints if "422" not in text]
