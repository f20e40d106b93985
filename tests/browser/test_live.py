"""Phones at a table while everything goes wrong: nothing that was called saved is lost or doubled.

The schedules are drawn from seeds. ``COUPAGE_LIVE_SCHEDULES`` runs more of them, and longer ones.
"""

from __future__ import annotations

import os
import random
import re
import signal
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import LAPTOP, PHONE

SCHEDULES = int(os.environ.get("COUPAGE_LIVE_SCHEDULES", "0"))
TABLE = "This week's batches"
PASSWORD = "warm-bowl-and-spoon"
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
PATIENCE_MS = 60_000


class Server:
    """The real program on one port and one folder, that can be killed and started again."""

    def __init__(self, folder: Path) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port: int = free.getsockname()[1]
        self.folder = folder
        self.url = f"http://127.0.0.1:{self.port}"
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        ours = ("COUPAGE_", "DJANGO_")
        environment = {k: v for k, v in os.environ.items() if not k.startswith(ours)}
        environment |= {"COUPAGE_DATA": str(self.folder), "COUPAGE_PORT": str(self.port)}
        with (self.folder / "program.log").open("a") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "coupage", "run", "--demo"],
                env=environment,
                stdout=log,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )
        until = time.monotonic() + 60
        while time.monotonic() < until:
            try:
                with urllib.request.urlopen(f"{self.url}/join/", timeout=2):
                    return
            except OSError:
                time.sleep(0.05)
        raise AssertionError((self.folder / "program.log").read_text())

    def kill(self) -> None:
        """End it at once, workers and all, as when somebody trips over the cable."""
        assert self.process is not None
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()
        self.process = None

    def rows(self, query: str) -> list[tuple[Any, ...]]:
        with closing(sqlite3.connect(self.folder / "coupage.sqlite3")) as database:
            return database.execute(query).fetchall()


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    made = Server(tmp_path_factory.mktemp("live"))
    made.start()
    yield made
    if made.process is not None:
        made.kill()


@pytest.fixture(scope="module")
def letters(server: Server) -> str:
    """The code of the demo's table under way."""
    found = server.rows(
        "SELECT c.letters FROM live_joincode c JOIN cuppings_cupping t ON t.id = c.key "
        f"WHERE c.kind = 'cupping' AND t.name = '{TABLE.replace(chr(39), chr(39) * 2)}'"
    )
    return str(found[0][0])


@dataclass
class Phone:
    """A taster's phone, and what it was told is saved."""

    page: Page
    name: str
    kept: int = 0
    values: dict[tuple[str, str], float | None] = field(default_factory=dict)
    words: set[tuple[str, str]] = field(default_factory=set)

    def code(self) -> str:
        return self.page.locator(".cup-row [aria-current]").inner_text().strip()[:3]

    def saved(self) -> None:
        """Wait until the phone says that one thing more is kept on it."""
        self.kept += 1
        expect(self.page.locator("html")).to_have_attribute(
            "data-kept", str(self.kept), timeout=PATIENCE_MS
        )

    def rate(self, rng: random.Random) -> None:
        lines = self.page.locator(".slide")
        line = lines.nth(rng.randrange(lines.count()))
        name = re.sub(r"Clear.*", "", line.locator(".slide-name").inner_text(), flags=re.S).strip()
        shown = line.locator("output")
        before = shown.inner_text()
        more = before in {"–", "0"} or (before != "10" and rng.random() < 0.7)
        line.get_by_role("button", name="half a point more" if more else "point less").tap()
        expect(shown).not_to_have_text(before)
        self.saved()
        self.values[self.code(), name.lower()] = float(shown.inner_text())

    def say(self, rng: random.Random) -> None:
        word = f"plum {rng.randrange(10**6)}"
        self.page.get_by_placeholder("What does it taste of?").fill(word)
        self.page.get_by_role("button", name="Add", exact=True).tap()
        self.saved()
        self.words.add((self.code(), word))

    def next_cup(self, rng: random.Random) -> None:
        others = self.page.locator(".cup-row a:not([aria-current])")
        other = others.nth(rng.randrange(others.count()))
        code = other.inner_text().strip()[:3]
        other.tap()
        expect(self.page.locator(".cup-row [aria-current]")).to_contain_text(code)

    def reload(self) -> None:
        self.page.reload()
        expect(self.page.locator("html")).to_have_attribute("data-sheet", "ready")
        expect(self.page.locator("html")).to_have_attribute("data-kept", str(self.kept))


def sit(browser: Browser, server: Server, letters: str, name: str) -> Phone:
    context = browser.new_context(base_url=server.url, reduced_motion="reduce", **PHONE)
    context.set_default_timeout(PATIENCE_MS)
    page = context.new_page()
    page.goto(f"/join/{letters}/")
    page.get_by_label("Your name").fill(name)
    page.get_by_role("button", name="Take a seat").tap()
    expect(page.locator("#reachable")).to_have_text(
        "This page opens without the network, too.", timeout=PATIENCE_MS
    )
    return Phone(page, name)


def host_screen(browser: Browser, server: Server, state: str) -> Page:
    """Sign the host in and open the host's screen of the demo's table in that state."""
    context = browser.new_context(base_url=server.url, reduced_motion="reduce", **LAPTOP)
    context.set_default_timeout(PATIENCE_MS)
    page = context.new_page()
    page.goto("/people/sign-in/")
    page.get_by_label("Sign-in name").fill("idris")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("main").get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/")
    table = server.rows(f"SELECT id FROM cuppings_cupping WHERE state = '{state}'")[0][0]
    page.goto(f"/cuppings/{table}/")
    page.get_by_role("link", name="Clock and joining").click()
    expect(page.locator("#timeline li").first).to_be_visible()
    return page


def bad_day(rng: random.Random, steps: int) -> dict[int, list[str]]:
    """Draw what goes wrong when: each thing at least once, and never for ever."""
    plan: dict[int, list[str]] = {n: [] for n in range(steps)}
    away = rng.randrange(1, steps // 3)
    plan[away].append("offline")
    plan[away + rng.randint(2, 5)].append("online")
    dead = rng.randrange(steps // 2, steps - 6)
    plan[dead].append("kill")
    plan[dead + rng.randint(1, 2)].append("reload")
    plan[dead + rng.randint(3, 5)].append("start")
    plan[rng.randrange(steps)].append("reload")
    return plan


def happen(what: str, phone: Phone, server: Server) -> None:
    if what in {"offline", "online"}:
        phone.page.context.set_offline(what == "offline")
    elif what == "kill":
        server.kill()
    elif what == "start" and server.process is None:
        server.start()
    elif what == "reload":
        phone.reload()


def check(phone: Phone, server: Server) -> None:
    """Hold what the phone was told is saved against the rows of the database."""
    expect(phone.page.locator("#line")).to_contain_text("All sent", timeout=PATIENCE_MS)
    seat = f"(SELECT place FROM live_ticket WHERE kind = 'cupping' AND name = '{phone.name}')"
    there = {
        (code, name): float(value)
        for code, name, value in server.rows(
            "SELECT c.code, a.name, r.value FROM cuppings_rating r "
            "JOIN cuppings_cup c ON c.id = r.cup_id "
            f"JOIN cuppings_attribute a ON a.id = r.attribute_id WHERE r.seat_id = {seat}"
        )
    }
    assert there == phone.values
    said = server.rows(
        "SELECT c.code, w.text FROM cuppings_word w JOIN cuppings_cup c ON c.id = w.cup_id "
        f"WHERE w.seat_id = {seat}"
    )
    assert sorted(said) == sorted(phone.words)
    touches = server.rows(f"SELECT key, fate FROM live_touch WHERE seat_id = {seat}")
    assert len(touches) == len(set(touches)) == phone.kept
    # Of two touches of one thing that came together, the earlier is on record as older.
    assert {fate for _, fate in touches} <= {"kept", "older"}


@pytest.mark.parametrize("seed", range(max(1, SCHEDULES)))
def test_nothing_saved_is_lost_or_doubled_whatever_happens(
    seed: int, browser: Browser, server: Server, letters: str
) -> None:
    rng = random.Random(seed)
    phones = [sit(browser, server, letters, f"{name} {seed}") for name in ("Ash", "Birch")]
    steps = 40 if SCHEDULES else 16
    wrong = bad_day(rng, steps)
    for step in range(steps):
        phone = phones[step % 2]
        for what in wrong[step]:
            happen(what, phone if what != "online" else phones[0], server)
            if what == "online":
                phones[1].page.context.set_offline(False)
        deed = rng.choices(("rate", "say", "next_cup"), (6, 1, 2))[0]
        getattr(phone, deed)(rng)
    if server.process is None:
        server.start()
    for phone in phones:
        phone.page.context.set_offline(False)
        check(phone, server)
        phone.page.context.close()


def test_nothing_is_called_safe_or_sent_before_it_is_stored(
    browser: Browser, server: Server, letters: str
) -> None:
    """On a phone whose store does not answer, the sheet says so for as long as that lasts."""
    page = sit(browser, server, letters, "Dogwood").page
    sent: list[str] = []
    page.on("request", lambda asked: sent.append(asked.url) if asked.method == "POST" else None)
    page.evaluate(
        """() => {
            const open = IDBDatabase.prototype.transaction;
            IDBDatabase.prototype.transaction = function (stores, mode, ...rest) {
                if (mode !== "readwrite") return open.call(this, stores, mode, ...rest);
                return { objectStore: () => ({ put() {}, openCursor: () => ({}) }) };
            };
        }"""
    )
    page.locator(".slide").first.get_by_role("button", name="half a point more").tap()
    expect(page.locator("#line")).to_have_text("Saving on this phone")
    expect(page.locator("html")).to_have_attribute("data-kept", "0")
    assert not sent
    page.context.close()


def test_the_clock_is_one_and_the_late_are_kept_apart(
    browser: Browser, server: Server, letters: str
) -> None:
    host = host_screen(browser, server, "open")
    phone = sit(browser, server, letters, "Cedar")
    row = host.get_by_role("row", name="Cedar")
    expect(row).to_contain_text("here", timeout=PATIENCE_MS)
    clock = phone.page.locator("#clock-time")
    expect(clock).to_have_class(re.compile("stands"))
    host.get_by_role("button", name="Run on").click()
    expect(host.get_by_role("button", name="Pause")).to_be_visible()
    expect(clock).not_to_have_class(re.compile("stands"), timeout=PATIENCE_MS)
    theirs, ours = (
        [int(part) for part in shown.inner_text().split(":")]
        for shown in (clock, host.locator("#clock-time"))
    )
    assert abs(theirs[0] * 60 + theirs[1] - ours[0] * 60 - ours[1]) <= 1
    # Asked for a cup that is missing, the phone leads there.
    row.get_by_role("button", name="Ask").click()
    expect(phone.page.locator("#nudge")).to_contain_text("The host asks", timeout=PATIENCE_MS)
    # What is entered while the network is away comes after the close, and waits for the host.
    phone.page.context.set_offline(True)
    phone.rate(random.Random(1))
    expect(phone.page.locator("#line")).to_contain_text("Saved on this phone")
    host.get_by_role("button", name="Close and reveal").click()
    host.get_by_role("dialog").get_by_role("button", name=re.compile("reveal", re.I)).click()
    expect(host.get_by_role("button", name="Close and reveal")).to_have_count(0)
    phone.page.context.set_offline(False)
    expect(phone.page.locator("#late")).to_contain_text("kept apart", timeout=PATIENCE_MS)
    table = server.rows("SELECT cupping_id FROM live_tableclock")[0][0]
    host.goto(f"/cuppings/{table}/live/")
    host.get_by_role("row", name="Cedar").get_by_role("button", name="Let them count").click()
    expect(host.locator("#toasts")).to_contain_text("count now")
    assert [(f,) for f in ("admitted",)] == server.rows(
        "SELECT fate FROM live_touch WHERE seat_id = "
        "(SELECT place FROM live_ticket WHERE name = 'Cedar')"
    )
    phone.page.reload()
    expect(phone.page.get_by_role("main")).to_contain_text("this is what you tasted")
    for page in (phone.page, host):
        page.context.close()


def look(page: Page, where: str) -> None:
    """In light and dark axe finds nothing, and nothing runs off the side."""
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme, reduced_motion="reduce")  # type: ignore[arg-type]
        # Buttons pass from one palette to the other; half-way there they are neither.
        page.evaluate("Promise.allSettled(document.getAnimations().map((each) => each.finished))")
        found = Axe().run(page, options=RULES).response["violations"]
        told = [(v["id"], [n["target"] for n in v["nodes"]][:4]) for v in found]
        assert not told, (where, scheme)
    page.emulate_media(color_scheme="light", reduced_motion="reduce")
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= page.viewport_size["width"], where  # type: ignore[index]


def test_the_pages_of_a_live_table_are_for_everybody(browser: Browser, server: Server) -> None:
    """WCAG 2.2 AA by axe; targets of 48 px on the phone."""
    host = host_screen(browser, server, "planned")
    host.get_by_role("button", name="Show a code to join").click()
    look(host, "host")
    letters = host.locator(".join-letters").inner_text().replace("-", "")
    page = browser.new_context(base_url=server.url, **PHONE).new_page()
    page.goto("/join/")
    look(page, "code")
    page.goto(f"/join/{letters}/")
    look(page, "name")
    page.get_by_label("Your name").fill("Elm")
    page.get_by_role("button", name="Take a seat").tap()
    expect(page.get_by_role("main")).to_contain_text("not open yet")
    look(page, "waiting")
    host.get_by_role("button", name="Open the table").click()
    host.get_by_role("dialog").get_by_role("button", name=re.compile("Open", re.I)).click()
    expect(page.locator(".slide").first).to_be_visible(timeout=PATIENCE_MS)
    page.get_by_placeholder("What does it taste of?").fill("pl")
    look(page, "cup")
    for target in page.locator("#screen button, #screen input, #screen a, #move .button").all():
        box = target.bounding_box()
        if box is not None and target.is_visible():
            assert min(box["height"], box["width"]) >= 48, target.evaluate("e => e.outerHTML")
    for hash_, where in (("#/end", "end"), ("#/two", "two")):
        page.evaluate(f"location.hash = '{hash_}'")
        expect(page.locator(".cup-head")).to_have_count(0)
        look(page, where)
    host.goto(host.url.replace("/live/", "/live/wall/"))
    expect(host.locator("#clock-step")).not_to_be_empty()
    look(host, "wall")
    for each in (page, host):
        each.context.close()
