"""One cupping, from setting it up on a laptop, over a phone at the table, to the result."""

from __future__ import annotations

import re

from playwright.sync_api import Page, expect

from tests.browser.conftest import PHONE, SignIn
from tests.browser.test_main_path import go, heading

NAME = "Browser table"


def set_up(page: Page) -> None:
    go(page, "Cuppings")
    page.get_by_role("link", name="Set up a table").first.click()
    page.get_by_label("Name").fill(NAME)
    page.get_by_label("Protocol").select_option(index=1)
    page.get_by_label("Passes").fill("warm")
    for box in page.get_by_role("group", name="What is rated").get_by_role("checkbox").all():
        box.uncheck()
    for attribute in ("body", "sweetness"):
        page.get_by_role("checkbox", name=attribute).check()
    page.get_by_role("button", name="Go on").click()
    heading(page, NAME)
    expect(page.get_by_role("main")).to_contain_text("Before it can be opened")
    for index in (1, 2):
        card = page.get_by_role("region", name="Add a batch as it is")
        card.get_by_label("Batch").select_option(index=index)
        card.get_by_label("Cups").fill("1")
        card.get_by_role("button", name="Put on the table").click()
        expect(
            page.get_by_role("table", name="Samples on the table").locator("tbody tr")
        ).to_have_count(index)
    page.get_by_label("Taster").select_option(label="Noor")
    page.get_by_role("button", name="Give a seat").click()
    page.get_by_label("Guest").fill("Wren")
    page.get_by_role("button", name="Give a seat").click()
    expect(page.get_by_role("main")).to_contain_text("Wren")
    page.get_by_role("button", name="Open the table").click()
    page.get_by_role("dialog").get_by_role("button", name=re.compile("Open|Yes|OK")).click()
    expect(page.get_by_role("table", name="Who has rated which cup")).to_be_visible()


def taste_on_a_phone(phone: Page) -> None:
    phone.get_by_role("link", name=NAME).click()
    expect(phone.get_by_role("main")).not_to_contain_text("batch", ignore_case=True)
    phone.get_by_role("link", name="Taste").first.click()
    for number in (1, 2):
        expect(phone.get_by_role("heading", level=1)).to_have_text(re.compile(r"\d{3}"))
        expect(phone.get_by_role("main")).to_contain_text(f"cup {number} of 2")
        for attribute in ("Body", "Sweetness"):
            phone.get_by_role("button", name=f"{attribute}: half a point more").tap()
        phone.get_by_placeholder("What does it taste of?").fill("plum")
        phone.get_by_role("button", name="Add", exact=True).tap()
        expect(phone.get_by_role("button", name="Take “plum” away")).to_be_visible()
        phone.get_by_role("button", name="Next").tap()
    phone.get_by_role("button", name="I am done").tap()
    expect(phone.get_by_role("heading", level=1)).to_have_text("You are done")
    expect(phone.locator("#line")).to_contain_text("All sent")
    phone.reload()
    expect(phone.get_by_role("heading", level=1)).to_have_text("You are done")


def test_a_table_is_set_up_tasted_and_revealed(sign_in: SignIn) -> None:
    page = sign_in("idris")
    set_up(page)
    table = page.url

    phone = sign_in("noor", PHONE)
    taste_on_a_phone(phone)
    phone.goto(table)
    assert not phone.get_by_role("button", name="Close and reveal").count()

    page.goto(table)
    page.get_by_role("link", name="Sheet of Wren").click()
    boxes = page.locator("td.rate input:not([type=hidden])")
    expect(boxes).to_have_count(4)
    for number, typed in enumerate(("7", "6,5", "3", "eleven")):
        boxes.nth(number).fill(typed)
        boxes.nth(number).blur()
    expect(page.get_by_role("main")).to_contain_text(re.compile("eleven|not a number|0 to 10"))
    boxes.nth(3).fill("3.5")
    boxes.nth(3).blur()
    expect(
        page.locator("td.state").filter(has_text=re.compile("saved", re.IGNORECASE))
    ).to_have_count(2)

    page.goto(table)
    expect(page.get_by_role("table", name="Who has rated which cup")).to_contain_text("4 of 4")
    page.get_by_role("button", name="Close and reveal").click()
    page.get_by_role("dialog").get_by_role(
        "button", name=re.compile("reveal|Yes|OK", re.IGNORECASE)
    ).click()
    # The fit runs beside the page, which comes back by itself until the result is there.
    main = page.get_by_role("main")
    expect(main).to_contain_text("What was in the cups", timeout=60_000)
    expect(main).to_contain_text(re.compile("same|different|not enough cups"))
    expect(main).to_contain_text("plum")
    expect(main).to_contain_text("How this was worked out")
