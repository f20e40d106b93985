"""Take the pictures of the documentation from the real program: ``make docs-pictures``.

The program is started as anybody starts it, with the demo, in a folder that is thrown away. Pages
are only looked at, but for the amounts on the weighing sheet and one plan of a trial.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, Page, expect, sync_playwright

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from tests.browser.conftest import LAPTOP, PHONE, chromium  # noqa: E402
from tests.browser.program import Program, running  # noqa: E402

PICTURES = ROOT / "docs" / "pictures"
MOST_BYTES = 200_000
# Wide enough for a sheet of A4 at 96 dots to the inch, which is 794 wide.
PAPER: dict[str, Any] = {"viewport": {"width": 900, "height": 1300}}
TABLE = "Ropewalk, how much canephora"
OPEN = "This week's batches"
BRIEF = "Ropewalk carries in milk"
BLEND = "Ropewalk"
TRIAL = "Without Umbrales"
TRIED = ("Tovaco (long)", "Almirena (medium)", "Ondakal (long)")


@dataclass(frozen=True)
class Shot:
    """One picture: who looks, on what, and the way to the page."""

    name: str
    way: Callable[[Page], None]
    who: str = "idris"
    device: dict[str, Any] | None = None
    dark: bool = False
    paper: bool = False


def section(page: Page, name: str) -> None:
    page.get_by_role("navigation").get_by_role("link", name=name, exact=True).first.click()
    ready(page)


def ready(page: Page) -> None:
    """Wait until what the tables taught is worked out; the page comes back by itself."""
    heading = page.get_by_role("heading", level=1)
    expect(heading).to_be_visible()
    expect(heading).not_to_have_text("Working it out", timeout=120_000)


def follow(*names: str) -> Callable[[Page], None]:
    """Return the way through links: a section, then one link on each page."""

    def walk(page: Page) -> None:
        section(page, names[0])
        for name in names[1:]:
            page.get_by_role("main").get_by_role("link", name=name, exact=True).first.click()
            ready(page)

    return walk


def today(page: Page) -> None:
    ready(page)


def chosen(page: Page) -> None:
    follow("Briefs", BRIEF, "Choose a recipe")(page)
    expect(page.get_by_role("main")).to_contain_text("is on brief with a chance of")


def triangle(page: Page) -> None:
    follow("Briefs", BRIEF, "Blend triangle")(page)
    expect(page.locator("[data-canvas][data-fine]")).to_be_attached()


def recipe(page: Page) -> None:
    follow("Blends", BLEND)(page)
    page.get_by_role("main").get_by_role("link", name="2", exact=False).first.click()
    ready(page)


def weighing(page: Page) -> None:
    recipe(page)
    page.get_by_role("link", name="Weighing sheet").click()
    page.get_by_label("How much blend").fill("24")
    page.get_by_label("In how many loads").fill("2")
    page.get_by_role("button", name="Make the sheet").click()
    ready(page)


def labels(page: Page) -> None:
    follow("Cuppings", OPEN)(page)
    page.get_by_role("link", name="Cup labels").first.click()
    ready(page)


def taste(page: Page) -> None:
    page.goto("/cuppings/")
    page.get_by_role("link", name="Taste").first.click()
    expect(page.locator(".slide").first).to_be_visible()
    expect(page.locator("#line")).to_contain_text("Nothing to send")


def host(page: Page) -> None:
    follow("Cuppings", OPEN)(page)
    page.get_by_role("link", name="Clock and joining").click()
    expect(page.locator("#timeline li").first).to_be_visible()


def wall(page: Page) -> None:
    follow("Cuppings", TABLE)(page)
    page.get_by_role("link", name="Wall", exact=True).click()
    for _ in range(2):
        page.get_by_role("button", name="Go on").click()


def trial(page: Page) -> None:
    """Plan what to taste next, or open the plan if it was made for an earlier picture."""
    page.goto("/trials/")
    made = page.get_by_role("main").get_by_role("link", name=TRIAL, exact=True)
    if made.count():
        made.first.click()
    else:
        page.get_by_role("main").get_by_role("link", name="Plan", exact=False).first.click()
        page.get_by_label("Name", exact=True).fill(TRIAL)
        for coffee in TRIED:
            page.get_by_role("checkbox", name=coffee, exact=True).check()
        page.get_by_role("button", name="Choose the blends").click()
    heading = page.get_by_role("heading", level=1)
    expect(heading).to_have_text(TRIAL, timeout=60_000)
    page.reload()  # without the word that it is saved
    expect(heading).to_have_text(TRIAL)


def guest_test(page: Page) -> None:
    page.goto("/guests/")
    page.get_by_role("main").get_by_role("link", name="Counter test").click()
    ready(page)


def guest_plan(page: Page) -> None:
    page.goto("/guests/add/")
    ready(page)


def roast_day(page: Page) -> None:
    section(page, "Roast days")
    page.get_by_role("rowheader").get_by_role("link").first.click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Roast day of")


def roast_sheet(page: Page) -> None:
    roast_day(page)
    page.get_by_role("link", name="Roast sheet, Large drum").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Large drum")


def run(page: Page) -> None:
    section(page, "Production")
    page.get_by_role("main").get_by_role("rowheader").get_by_role("link").first.click()
    ready(page)


def trace(page: Page) -> None:
    section(page, "Production")
    page.get_by_role("main").get_by_role("rowheader").get_by_role("link").nth(1).click()
    page.get_by_role("link", name="Trace", exact=True).click()
    ready(page)


def run_sheet(page: Page) -> None:
    run(page)
    page.get_by_role("link", name="Run sheet").click()
    ready(page)


def bag_labels(page: Page) -> None:
    run(page)
    page.get_by_role("link", name="Labels").click()
    page.get_by_role("button", name="Make the labels").click()
    ready(page)


SHOTS = (
    Shot("today", today),
    Shot("today-dark", today, dark=True),
    Shot("coffees", follow("Coffees")),
    Shot("batches", follow("Batches")),
    Shot("at-the-machine", follow("Batches", "At the machine", "Large drum")),
    Shot("keeping", follow("Batches", "Keeping")),
    Shot("ageing", follow("Batches", "Keeping", "Ageing")),
    Shot("curves", follow("Batches", "Curves")),
    Shot("cuppings", follow("Cuppings")),
    Shot("table", follow("Cuppings", OPEN)),
    Shot("result", follow("Cuppings", TABLE)),
    Shot("spread", follow("Cuppings", "Where the spread comes from")),
    Shot("brief", follow("Briefs", BRIEF)),
    Shot("choose", chosen),
    Shot("choose-dark", chosen, dark=True),
    Shot("triangle", triangle),
    Shot("blend", follow("Blends", BLEND)),
    Shot("recipe", recipe),
    Shot("trial", trial),
    Shot("guest-test", guest_test),
    Shot("guest-plan", guest_plan),
    Shot("roast-day", roast_day),
    Shot("roast-sheet", roast_sheet, device=PAPER, paper=True),
    Shot("expected", follow("Orders", "What is expected", "Ropewalk")),
    Shot("production", follow("Production")),
    Shot("run", run),
    Shot("trace", trace),
    Shot("run-sheet", run_sheet, device=PAPER, paper=True),
    Shot("bag-labels", bag_labels, device=PAPER, paper=True),
    Shot("weighing-sheet", weighing, device=PAPER, paper=True),
    Shot("cup-labels", labels, device=PAPER, paper=True),
    Shot("host", host),
    Shot("wall", wall),
    Shot("taste-phone", taste, who="noor", device=PHONE),
    Shot("today-phone", today, device=PHONE),
    Shot("result-phone", follow("Cuppings", TABLE), device=PHONE),
)


def take(browser: Browser, program: Program, shot: Shot) -> None:
    context = browser.new_context(
        base_url=program.url,
        reduced_motion="reduce",
        color_scheme="dark" if shot.dark else "light",
        locale="en-GB",
        **(shot.device or LAPTOP),
    )
    try:
        page = context.new_page()
        page.goto("/people/sign-in/")
        page.get_by_label("Sign-in name").fill(shot.who)
        page.get_by_label("Password").fill(program.password)
        page.get_by_role("main").get_by_role("button", name="Sign in").click()
        page.wait_for_url("**/")
        shot.way(page)
        page.evaluate("document.activeElement?.blur(); scrollTo(0, 0)")
        place = PICTURES / f"{shot.name}.png"
        if shot.paper:
            page.locator("article.sheet").screenshot(path=place)
        else:
            page.screenshot(path=place)
    finally:
        context.close()


def main() -> int:
    path = chromium()
    if path is None:
        print("There is no Chromium; name one with COUPAGE_CHROMIUM.", file=sys.stderr)
        return 1
    asked = set(sys.argv[1:]) or {shot.name for shot in SHOTS}
    unknown = asked - {shot.name for shot in SHOTS}
    if unknown:
        print(f"There is no picture {', '.join(sorted(unknown))}.", file=sys.stderr)
        return 2
    PICTURES.mkdir(parents=True, exist_ok=True)
    large = []
    with (
        tempfile.TemporaryDirectory() as folder,
        running(Path(folder)) as program,
        sync_playwright() as play,
    ):
        browser = play.chromium.launch(executable_path=path, args=["--no-sandbox"])
        for shot in SHOTS:
            if shot.name not in asked:
                continue
            take(browser, program, shot)
            size = (PICTURES / f"{shot.name}.png").stat().st_size
            print(f"{shot.name}.png  {size / 1000:.0f} kB", flush=True)
            if size > MOST_BYTES:
                large.append(shot.name)
        browser.close()
    if large:
        print(f"Larger than {MOST_BYTES // 1000} kB: {', '.join(large)}", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
