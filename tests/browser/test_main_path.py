"""The main job from first to last, as a roaster does it on a laptop."""

from __future__ import annotations

from datetime import datetime, timedelta

from playwright.sync_api import Page, expect

from tests.browser.conftest import SignIn


def go(page: Page, section: str) -> None:
    page.get_by_role("navigation").get_by_role("link", name=section, exact=True).first.click()
    expect(page.get_by_role("heading", level=1)).to_have_text(section)


def heading(page: Page, text: str) -> None:
    expect(page.get_by_role("heading", level=1)).to_have_text(text)


def ready(page: Page) -> None:
    """Wait until what the tables taught is worked out; the page comes back by itself."""
    expect(page.get_by_role("heading", level=1)).not_to_have_text("Working it out", timeout=60_000)


def test_coffee_comes_in_and_is_roasted_and_judged(sign_in: SignIn) -> None:
    page = sign_in("idris")

    go(page, "Coffees")
    page.get_by_role("link", name="Add a lot").click()
    page.get_by_label("Name").fill("Quarry Spring")
    page.get_by_label("Country of origin").fill("Rwanda")
    page.get_by_label("Landed price").fill("7,40")
    page.get_by_label("One bag").fill("60")
    page.get_by_label("Received so far").fill("sixty")
    page.get_by_role("button", name="Add the lot").click()
    expect(page.get_by_label("Received so far")).to_have_attribute("aria-invalid", "true")
    expect(page.get_by_label("Landed price")).to_have_value("7,40")
    page.get_by_label("Received so far").fill("120")
    page.get_by_role("button", name="Add the lot").click()
    heading(page, "Quarry Spring")
    expect(page.get_by_role("main")).to_contain_text("120.0 kg of Quarry Spring are on hand.")

    page.get_by_role("link", name="Add an approach").first.click()
    page.get_by_label("Name of the approach").fill("bright")
    page.get_by_label("Loss", exact=False).first.fill("14")
    page.get_by_role("button", name="Add the approach").click()
    expect(page.get_by_role("main")).to_contain_text("bright")

    go(page, "Batches")
    page.get_by_role("link", name="Record a batch").click()
    page.get_by_label("Number").fill("Q-1")
    page.get_by_label("Coffee and approach").select_option(label="Quarry Spring (bright)")
    roasted = datetime.now() - timedelta(hours=20)  # noqa: DTZ005 - a clock on the wall
    page.get_by_label("Roasted", exact=True).fill(roasted.strftime("%Y-%m-%dT%H:%M"))
    page.get_by_label("Green in").fill("12")
    page.get_by_label("Roasted out").fill("10,3")
    expect(page.get_by_text("Loss 14.2 %")).to_be_visible()
    page.get_by_role("button", name="Record it").click()
    heading(page, "Batch Q-1")
    expect(page.get_by_role("main")).to_contain_text("on target")

    page.get_by_label("hold").check()
    page.get_by_role("button", name="Give the verdict").click()
    expect(page.get_by_role("main")).to_contain_text("Say why the batch is held")
    page.get_by_label("release").check()
    page.get_by_role("button", name="Give the verdict").click()
    expect(page.get_by_role("main")).to_contain_text("Idris Kellaw said release")

    go(page, "Coffees")
    page.get_by_role("searchbox").fill("quarry")
    expect(page.get_by_role("row", name="Quarry Spring")).to_contain_text("108.0 kg")


def test_a_brief_is_answered_and_the_choice_is_weighed(sign_in: SignIn) -> None:
    page = sign_in("idris")
    go(page, "Briefs")
    page.get_by_role("link", name="Ropewalk carries in milk").click()
    ready(page)
    page.get_by_role("link", name="Choose a recipe").first.click()
    expect(page.get_by_role("main")).to_contain_text("is on brief with a chance of")
    expect(page.get_by_role("main")).to_contain_text("No recipe on this step has a higher chance.")
    page.get_by_label("Make a chosen recipe the next trial of").select_option(label="Ropewalk")
    page.get_by_role("button", name="Make it a trial").first.click()

    expect(page.get_by_role("main")).to_contain_text("is on the brief")
    page.get_by_role("link", name="Approve").click()
    page.get_by_label("Reason").fill("Best of all that may be made, and within the cap.")
    page.get_by_role("button", name="Approve").click()
    page.get_by_role("link", name="Put into service").click()
    page.get_by_label("Reason").fill("From the next roast day on.")
    page.get_by_role("button", name="Put into service").click()
    expect(page.get_by_role("main")).to_contain_text("in service")

    page.get_by_role("link", name="Weighing sheet").click()
    page.get_by_label("How much blend").fill("24")
    page.get_by_label("In how many loads").fill("2")
    page.get_by_role("button", name="Make the sheet").click()
    heading(page, "Ropewalk")
    expect(page.get_by_role("main")).to_contain_text("2 of 12.000 kg")
    expect(page.get_by_role("main")).to_contain_text("carbon monoxide", ignore_case=True)


def test_of_two_people_who_edit_a_recipe_the_second_is_told(sign_in: SignIn) -> None:
    first, second = sign_in("idris"), sign_in("lotte")
    go(first, "Blends")
    ready(first)
    first.get_by_role("link", name="Slack Tide", exact=True).click()
    ready(first)
    first.get_by_role("link", name="Write a recipe").first.click()
    first.get_by_label("Why this recipe").fill("the same again, to begin from")
    first.get_by_role("button", name="Make it a trial").click()
    ready(first)
    first.get_by_role("link", name="Change", exact=True).click()
    second.goto(first.url)
    first.get_by_label("Why this recipe").fill("what the first typed")
    first.get_by_role("button", name="Save").click()
    expect(first.get_by_role("main")).to_contain_text("what the first typed")
    second.get_by_label("Why this recipe").fill("what the second typed")
    second.get_by_role("button", name="Save").click()
    expect(second.get_by_role("main")).to_contain_text("Somebody else saved this first")
    expect(second.get_by_role("main")).to_contain_text("what the first typed")
    expect(second.get_by_label("Why this recipe")).to_have_value("what the second typed")
