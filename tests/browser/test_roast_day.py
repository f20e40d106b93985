"""From an order to a printed roast sheet, at laptop size."""

from __future__ import annotations

import re
from datetime import date, timedelta

from playwright.sync_api import Page, expect

from tests.browser.conftest import SignIn


def go(page: Page, section: str) -> None:
    page.get_by_role("navigation").get_by_role("link", name=section, exact=True).first.click()
    expect(page.get_by_role("heading", level=1)).to_have_text(section)


def test_an_order_becomes_batches_and_a_sheet(sign_in: SignIn) -> None:
    page = sign_in("idris")
    day = (date.today() + timedelta(days=6)).isoformat()  # noqa: DTZ011 - a calendar on the wall
    main = page.get_by_role("main")

    go(page, "Orders")
    page.get_by_role("link", name="Write down an order").click()
    page.get_by_label("Customer").select_option(label="Lantern Row")
    page.get_by_label("Due on").fill(day)
    page.get_by_label("Blend").first.select_option(label="Slack Tide")
    page.get_by_label("Bag").first.fill("1000")
    page.get_by_role("button", name="Write it down").click()
    expect(main).to_contain_text("Say how many bags.")
    page.get_by_label("How many").first.fill("8")
    page.get_by_role("button", name="Add a row").click()
    expect(page.get_by_label("Blend")).to_have_count(3)
    page.get_by_role("button", name="Write it down").click()
    expect(main).to_contain_text("8.0 kg for Lantern Row")

    go(page, "Roast days")
    page.get_by_role("link", name="Plan a day").click()
    page.get_by_label("Day", exact=True).fill(day)
    page.get_by_label("Orders due until").fill(day)
    page.get_by_role("button", name="Plan it").click()
    expect(main).to_contain_text("batches meet all orders", timeout=60_000)
    expect(page.get_by_role("img", name=re.compile("Large drum: [0-9]+ batches"))).to_be_visible()

    page.get_by_text("Set a batch of the plan").click()
    charge = page.get_by_label("Charge").first
    charge.fill("7,5")
    page.get_by_role("button", name="Pin").first.click()
    expect(main).to_contain_text("pinned", timeout=60_000)
    expect(page.get_by_role("cell", name="7.5 kg").first).to_be_visible()

    page.get_by_role("button", name="Send to the machines").click()
    expect(main).to_contain_text("at the machine")
    page.get_by_role("link", name="Roast sheet, Large drum").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Large drum")
    for said in ("Green to bring", "carbon monoxide", "catch fire", "60 to 70 kg"):
        expect(main).to_contain_text(said)
    page.emulate_media(media="print")
    expect(page.get_by_role("navigation").first).to_be_hidden()
    expect(page.get_by_role("table")).to_be_visible()
    assert page.pdf(format="A4").startswith(b"%PDF")
