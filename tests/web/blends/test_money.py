"""Prices, exchange rates and the house's own costs, and what they make of a recipe."""

from __future__ import annotations

import datetime as dt
import re
from decimal import Decimal

import pytest
from django.test import Client
from django.utils import timezone

from coupage.web.blends.costs import costs_now
from coupage.web.blends.models import ExchangeRate, GreenPrice, HouseCosts
from coupage.web.coffees.models import Approach
from coupage.web.people.models import Person
from tests.web import things
from tests.web.conftest import As

pytestmark = pytest.mark.django_db
TODAY = timezone.localdate()
GREEN = {"what": "green", "green-freight": "0", "green-duty_ppm": "0", "green-on": f"{TODAY}"}


@pytest.fixture
def client(roaster: Person, signed_in: As) -> Client:
    return signed_in(roaster)


@pytest.fixture
def roasted(roaster: Person) -> Approach:
    """A coffee of which thirty batches lost 18 per cent, so that the estimate is 18 per cent."""
    approach = things.approach_version(lot=things.lot(name="Amber", price_per_kg=None)).approach
    for _ in range(30):
        things.batch(approach_version=approach.versions.get(), green_g=10_000, roasted_g=8_200)
    return approach


def test_the_worked_example_of_a_roasters_cost_comes_out(roasted: Approach, client: Client) -> None:
    """SCAA 2009 (secondary source): (1.89 + 0.12) / 0.82 = 2.45."""
    assert costs_now().per_kg() == {}
    client.post(
        "/blends/prices/",
        GREEN
        | {
            "green-lot": roasted.lot_id,
            "green-price": "1,89",
            "green-currency": "EUR",
            "green-freight": "0.12",
        },
    )
    assert costs_now().per_kg()["Amber (omni)"] == pytest.approx(2.45, abs=0.006)


def test_a_price_in_another_currency_waits_for_its_rate_and_moves_with_it(
    roasted: Approach, client: Client
) -> None:
    sent = {"green-lot": roasted.lot_id, "green-price": "5", "green-currency": "usd"}
    client.post("/blends/prices/", GREEN | sent | {"green-duty_ppm": "10"})
    recipe = things.recipe({roasted: 1_000_000})
    assert "There is no exchange rate for USD" in client.get("/blends/prices/").text
    assert "There is no exchange rate for USD" in client.get(f"/blends/recipes/{recipe.pk}/").text
    rate = {"what": "rate", "rate-currency": "USD", "rate-rate": "0,9", "rate-on": f"{TODAY}"}
    client.post("/blends/prices/", rate)
    assert costs_now().per_kg()["Amber (omni)"] == pytest.approx(5 * 0.9 * 1.1 / 0.82, rel=1e-3)
    later = TODAY + dt.timedelta(days=10)
    client.post("/blends/prices/", rate | {"rate-rate": "0.8", "rate-on": f"{later}"})
    assert costs_now().per_kg()["Amber (omni)"] == pytest.approx(5 * 0.9 * 1.1 / 0.82, rel=1e-3)
    assert costs_now(later).per_kg()["Amber (omni)"] == pytest.approx(
        5 * 0.8 * 1.1 / 0.82, rel=1e-3
    )
    assert ExchangeRate.objects.count() == 2, "rates are only ever added to"


def test_the_house_comes_on_top_and_the_price_leaves_its_margin(
    roasted: Approach, client: Client
) -> None:
    type(roasted.lot).objects.update(price_per_kg=Decimal("8.20"))
    recipe = things.recipe({roasted: 1_000_000})
    client.post(
        "/blends/prices/",
        {
            "what": "house",
            "house-roasting": "1",
            "house-labour": "2",
            "house-packaging": "0.5",
            "house-overhead": "1.5",
            "house-margin_ppm": "25",
            "house-on": f"{TODAY}",
        },
    )
    page = client.get(f"/blends/recipes/{recipe.pk}/").context["page"]
    rows = {row.what: row.amount for row in page.costs}
    # 8.20 over a yield of 82 % is 10; 5 more; 15 / (1 - 0.25) is 20.
    assert rows["coffee per roasted kg"] == "10.00 EUR"
    assert rows["cost per roasted kg"] == "15.00 EUR"
    assert rows["price that leaves 25 %"] == "20.00 EUR"
    assert HouseCosts.objects.get().by is not None
    # A tenth on the price is a tenth of the coffee.
    assert [(move.coffee, move.tenth) for move in page.moves] == [("Amber (omni)", "+1.00 EUR")]
    assert page.moves[0].ends == pytest.approx((12.0, 18.0), abs=0.01)
    note = next(row.note for row in page.costs if row.note)
    low, high = (float(figure) for figure in re.findall(r"\d+\.\d\d", note))
    assert low <= 10 <= high


def test_doubt_about_a_loss_is_doubt_about_the_cost(roaster: Person, client: Client) -> None:
    """A coffee that was roasted twice is dearer or cheaper than thought; one of thirty is not."""
    wide = things.approach_version(lot=things.lot(name="Few")).approach
    for out in (8_000, 8_400):
        things.batch(approach_version=wide.versions.get(), green_g=10_000, roasted_g=out)
    narrow = things.approach_version(lot=things.lot(name="Many")).approach
    for n in range(30):
        out = 8_000 + 400 * (n % 2)
        things.batch(approach_version=narrow.versions.get(), green_g=10_000, roasted_g=out)
    costs = costs_now()
    spans = {}
    for name in ("Few (omni)", "Many (omni)"):
        card = costs.card({name: 1.0})
        assert card is not None
        low, high = costs.coffee_between(card)
        loss = costs.expected[name]
        assert low == pytest.approx(7.5 / (1 - loss.low90))
        assert high == pytest.approx(7.5 / (1 - loss.high90))
        spans[name] = high - low
    assert spans["Few (omni)"] > 1.5 * spans["Many (omni)"]


@pytest.mark.parametrize(
    ("sent", "says"),
    [
        ({"green-price": "-1", "green-currency": "EUR"}, "at least 0"),
        ({"green-price": "4", "green-currency": "EURO"}, "at most 3"),
        ({"green-price": "4", "green-currency": "E1"}, "three letters"),
        ({"green-price": "cheap", "green-currency": "EUR"}, "not a number"),
        ({"green-price": "4", "green-currency": "EUR", "green-on": "soon"}, "Enter a valid date"),
    ],
)
def test_what_is_no_price_is_explained_and_stays_in_the_box(
    sent: dict[str, str], says: str, roasted: Approach, client: Client
) -> None:
    answer = client.post("/blends/prices/", GREEN | {"green-lot": roasted.lot_id} | sent)
    assert says in answer.text
    assert f'value="{sent["green-price"]}"' in answer.text
    assert not GreenPrice.objects.exists()


def test_the_own_currency_needs_no_rate_and_rubbish_is_no_form(client: Client) -> None:
    rate = {"what": "rate", "rate-currency": "eur", "rate-rate": "1", "rate-on": f"{TODAY}"}
    assert "own; one costs one" in client.post("/blends/prices/", rate).text
    assert client.post("/blends/prices/", {"what": "rubbish"}).status_code == 200
    assert not ExchangeRate.objects.exists()


def test_a_viewer_reads_prices_and_cannot_write_them(viewer: Person, signed_in: As) -> None:
    client = signed_in(viewer)
    assert client.get("/blends/prices/").status_code == 200
    assert "Add the rate" not in client.get("/blends/prices/").text
    assert client.post("/blends/prices/", {"what": "rate"}).status_code == 403
