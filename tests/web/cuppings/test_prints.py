"""Sheets that leave the screen: grams by the scale, pulls, labels, paper."""

from __future__ import annotations

import re

import pytest
from django.test import Client

from coupage.web.people.models import Person
from tests.web import things
from tests.web.conftest import As

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(roaster: Person, signed_in: As) -> Client:
    return signed_in(roaster)


def test_the_weighing_sheet_says_grams_per_cup_and_what_to_pull(client: Client) -> None:
    """Worked by hand from 8.25 g to 150 mL (SCA Coffee Standards 2018, 3.1).

    A blend of 45, 35 and 20 % at 0.01 g: 3.71, 2.89 and 1.65 g by largest remainder. Three cups
    and a purge of 5 g in the cup's own proportions, rounded up to the scale: 3 x 3.71 + 5 x
    3.71 / 8.25 = 13.378 -> 13.38 g.
    """
    batches = [things.batch(number=f"W{i}") for i in (1, 2, 3)]
    shares = dict(zip(batches, (450_000, 350_000, 200_000), strict=True))
    table = things.cupping(
        samples=[things.sample(shares)],
        cups=3,
        protocol=things.protocol(dose_mg=8250, water_g=150),
    )
    address = f"/cuppings/{table.pk}/weighing/?resolution=0,01&purge=5"
    page = client.get(address).context["page"]
    assert [part.per_cup for part in page.samples[0].parts] == ["3.71 g", "2.89 g", "1.65 g"]
    assert {batch: mass for batch, _, mass in page.pull}["W1"] == "13.38 g"
    assert (page.cup, page.water) == ("8.25 g", "150 g")


def test_water_follows_the_cup_that_the_scale_can_weigh(client: Client) -> None:
    """8.25 g cannot be weighed in steps of 0.5 g; 8 g takes 8 / 8.25 x 150 = 145 g of water."""
    table = things.cupping(protocol=things.protocol(dose_mg=8250, water_g=150))
    page = client.get(f"/cuppings/{table.pk}/weighing/?resolution=0.5&purge=0").context["page"]
    assert (page.cup, page.water) == ("8.0 g", "145 g")
    assert any("cannot be weighed" in warning for warning in page.warnings)


def test_a_scale_that_is_too_coarse_is_refused_in_words(client: Client) -> None:
    table = things.cupping(protocol=things.protocol(dose_mg=4000, water_g=80))
    answer = client.get(f"/cuppings/{table.pk}/weighing/?resolution=10&purge=0")
    assert "cannot weigh a cup" in answer.text


def test_labels_hold_codes_and_nothing_else(client: Client) -> None:
    table = things.cupping(samples=[things.sample(label="Secret Orchard")], cups=3)
    text = client.get(f"/cuppings/{table.pk}/labels/").text
    labels = re.findall(r"<li>(\d+)</li>", text)
    assert labels == sorted(table.cups.values_list("code", flat=True))
    assert "Secret" not in text


def test_paper_sheets_keep_each_tasters_order(client: Client) -> None:
    table = things.cupping(tasters=[things.taster(name="Ash"), things.taster(name="Bea")])
    sheets = client.get(f"/cuppings/{table.pk}/paper/").context["sheets"]
    for sheet, seat in zip(sheets, table.seats.order_by("order"), strict=True):
        assert list(sheet.cups) == [s.cup.code for s in seat.servings.order_by("position")]
    one = table.seats.get(taster__name="Bea").pk
    only = client.get(f"/cuppings/{table.pk}/paper/?seat={one}").context["sheets"]
    assert [sheet.seat.taster.name for sheet in only] == ["Bea"]


def test_prints_are_for_those_who_prepare_the_table(
    viewer: Person, taster: Person, signed_in: As
) -> None:
    table = things.cupping()
    for person in (viewer, taster):
        for sheet in ("labels", "key", "weighing", "paper"):
            assert signed_in(person).get(f"/cuppings/{table.pk}/{sheet}/").status_code == 403
