"""A day at the machine on a tablet, and a folder of roast curves of which three are broken."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
from playwright.sync_api import Page, expect

from tests.browser.conftest import SignIn

TABLET: dict[str, Any] = {
    "viewport": {"width": 834, "height": 1112},
    "device_scale_factor": 2,
    "has_touch": True,
}
LEAST_PX = 48  # for wet or gloved fingers; WCAG 2.2, 2.5.8 asks for 24


def roast(page: Page, out_kg: str, loss: str) -> str:
    """Charge the first coffee offered, drop it, weigh it; return its number."""
    card = page.locator("form", has=page.get_by_role("button", name="Charge it now"))
    card.get_by_label("Coffee and approach").select_option(label="Tovaco (medium)")
    card.get_by_role("button", name="Charge it now").tap()
    drum = page.get_by_role("region", name=re.compile("in the drum"))
    # The clock runs from what the server said; a drop needs at least its first second.
    expect(drum.get_by_role("timer")).to_have_text(re.compile("0:0[1-9]"))
    button = drum.get_by_role("button", name="Drop")
    box = button.bounding_box()
    assert box is not None
    assert box["height"] >= LEAST_PX
    button.tap()
    weigh = page.get_by_role("region", name=re.compile("Weigh batch"))
    number = (weigh.get_attribute("aria-label") or "").removeprefix("Weigh batch ")
    weigh.get_by_label("Roasted out").fill(out_kg)
    expect(weigh.get_by_role("status")).to_have_text(loss)
    weigh.get_by_label("End temperature").fill("212,8")
    weigh.get_by_label("Colour").fill("56")
    weigh.get_by_role("button", name=f"Save {number}").tap()
    done = page.get_by_role("table", name="Done today")
    expect(done.get_by_role("row", name=re.compile(number))).to_contain_text(loss[5:])
    return number


def test_a_day_of_batches_is_keyed_in_at_the_machine(sign_in: SignIn) -> None:
    page = sign_in("lotte", TABLET)
    page.goto("/".join(page.url.split("/")[:3]) + "/batches/at/?choose")
    page.get_by_role("link", name="Large drum").tap()
    numbers = [
        roast(page, out, loss)
        for out, loss in (("7,6", "Loss 15.6 %"), ("7.56", "Loss 16.0 %"), ("7,65", "Loss 15.0 %"))
    ]
    assert len(set(numbers)) == 3
    page.get_by_role("link", name="Jar labels").first.tap()
    for number in numbers:
        expect(page.get_by_role("article")).to_contain_text(number)


def curve(shift: float) -> bytes:
    t = np.arange(0, 640, 2.0)
    c = 80 + 133 * (t / 640) ** 0.75 + 110 * np.exp(-t / 28) + shift
    lines = [f"{a:.0f};{b:.1f}".replace(".", ",") for a, b in zip(t, c, strict=True)]
    return "\n".join(["Zeit;Fühler unten", *lines]).encode()


def file(name: str, data: bytes) -> dict[str, Any]:
    return {"name": name, "mimeType": "text/csv", "buffer": data}


def test_of_twenty_curve_files_three_are_broken_and_the_rest_go_in(sign_in: SignIn) -> None:
    page = sign_in("idris", TABLET)
    home = "/".join(page.url.split("/")[:3])
    page.goto(f"{home}/batches/")
    numbers = page.locator("tbody th a").all_inner_texts()[:18]
    good = [file(f"{number}.csv", curve(i / 10)) for i, number in enumerate(numbers[:17])]
    broken = [
        file("nobody-knows-me.csv", curve(0)),
        file(f"{numbers[17]}.csv", b"Zeit;F\xc3\xbchler unten\n1;x\n2;x\n"),
        file("photo.csv", b"\x89PNG\r\n\x1a\n"),
    ]
    page.goto(f"{home}/curves/take-in/")
    page.get_by_label("Curve files").set_input_files([*good[:9], *broken, *good[9:]])
    page.get_by_role("checkbox", name="Replace curves that are there").check()
    page.get_by_role("button", name="Take them in").click()
    # The columns are new: they are asked for once, here, and the files that wait go on.
    page.get_by_label("Time from charge is in").select_option("Zeit")
    page.get_by_label("Bean temperature is in").select_option("Fühler unten")
    expect(page.get_by_role("status").first).to_contain_text("wait for their columns")
    page.get_by_role("button", name="Remember these columns").click()
    said = page.get_by_role("region", name="Progress").get_by_role("status")
    expect(said).to_have_text("20 of 20 files done, 17 in, 3 not in.", timeout=20_000)
    found = page.get_by_role("table", name="What became of each file")
    expect(found.locator("tbody tr")).to_have_count(20)
    for name, why in (
        ("nobody-knows-me.csv", "No batch of that number is known"),
        (f"{numbers[17]}.csv", "holds no temperatures"),
        ("photo.csv", "is a picture"),
    ):
        row = found.get_by_role("row", name=re.compile(re.escape(name))).first
        expect(row).to_contain_text("not in")
        expect(row).to_contain_text(why)
    found.get_by_role("link").first.click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Curve")
