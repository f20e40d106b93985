"""What is expected: against a published fit, by simulation, with the roaster's number on top."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from statistics import NormalDist

import numpy as np
import pytest
from django.test import Client

from coupage.web.orders.buying import green_needed
from coupage.web.orders.expecting import expected_kg
from coupage.web.orders.forecast import FEW_WEEKS, forecast
from coupage.web.people.models import Person
from tests.web import things
from tests.web.conftest import As

OIL = json.loads((Path(__file__).parents[2] / "references/oil_smoothing/oil.json").read_text())


def test_a_level_is_smoothed_as_published() -> None:
    """The source prints an 80 % interval; from our 90 % one by the ratio of normal quantiles."""
    found = forecast(OIL["production"], 1)
    assert "a level" in found.method
    assert found.mean[0] == pytest.approx(OIL["forecast"], abs=0.5)
    ratio = NormalDist().inv_cdf(0.9) / NormalDist().inv_cdf(0.95)
    half = ratio * (found.high90[0] - found.mean[0])
    assert half == pytest.approx((OIL["high80"] - OIL["low80"]) / 2, abs=2.5)


def test_the_mean_of_few_weeks_covers_as_it_says() -> None:
    """Eight weeks of normal scatter, 600 times: the next is in the 90 % range so often."""
    rng = np.random.default_rng(7)
    draws = rng.normal(60, 8, (600, 9))
    inside = 0
    for row in draws:
        found = forecast(row[:8], 1)
        assert found.few
        inside += found.low90[0] <= row[8] <= found.high90[0]
    # Three standard errors of 600 draws are 3.7 points.
    assert 0.863 <= inside / 600 <= 0.937


def test_a_trend_is_seen_and_carried_on() -> None:
    rng = np.random.default_rng(3)
    weeks = 40 + 0.6 * np.arange(60) + rng.normal(0, 2, 60)
    found = forecast(weeks, 4)
    assert "trend" in found.method
    assert found.mean[0] == pytest.approx(76, abs=4)
    assert found.low90[3] < 78 < found.high90[3]
    assert found.high90[0] - found.low90[0] < found.high90[3] - found.low90[3] + 1e-9


def test_little_is_said_of_little() -> None:
    assert forecast([], 2).mean == (0, 0)
    one = forecast([5.0], 1)
    assert (one.low90, one.high90) == ((0,), (float("inf"),))
    assert "plain mean of 1 week" in one.method
    same = forecast([5.0] * FEW_WEEKS, 1)
    assert (same.low90, same.mean, same.few) == ((5,), (5,), False)


@pytest.fixture
def client(roaster: Person, signed_in: As) -> Client:
    return signed_in(roaster)


@pytest.mark.django_db
def test_the_roasters_number_wins_and_orders_are_never_forgotten(client: Client) -> None:
    """Five weeks of 6 kg and one without; 30 kg ordered for the next week stand above the mean."""
    blend = things.recipe().blend
    today = dt.date.today()  # noqa: DTZ011  the page's own day
    this = today - dt.timedelta(days=today.weekday())
    for week in (1, 2, 3, 5, 6):
        things.order([(blend, 1_000, 6)], due_on=this - dt.timedelta(weeks=week), state="sent")
    things.order([(blend, 1_000, 30)], due_on=this + dt.timedelta(days=8))
    assert expected_kg(today)[blend.pk][:3] == pytest.approx((5, 30, 5), abs=0.001)
    address = f"/orders/expected/{blend.pk}/"
    assert "few weeks to go by" in client.get(address).text
    nxt = (this + dt.timedelta(weeks=1)).isoformat()
    sent = {f"w{nxt}-week": nxt, f"w{nxt}-mass_g": "12,5"}
    client.post(f"{address}set/", sent)
    assert expected_kg(today)[blend.pk][1] == 12.5
    assert "yours" in client.get(address).text
    assert client.post(f"{address}set/", sent | {f"w{nxt}-mass_g": "much"}).status_code == 302
    assert expected_kg(today)[blend.pk][1] == 12.5
    client.post(f"{address}set/", sent | {f"w{nxt}-mass_g": ""})
    assert expected_kg(today)[blend.pk][1] == 30
    assert "8.1 kg a week" in client.get("/orders/expected/").text


@pytest.mark.django_db
def test_what_to_buy_follows_from_recipes_losses_and_stock(client: Client) -> None:
    """10 kg a week of one coffee at 20 % loss are 12.5 kg green: 100 kg last for eight weeks."""
    lot = things.lot(received_kg=0, name="Amber", bag_g=60_000, price_per_kg="6")
    version = things.approach_version(lot=lot, loss_pct=20)
    for n in range(20):
        things.batch(
            approach_version=version, green_g=10_000, roasted_g=8_000,
            roasted_at=things.NOW - dt.timedelta(days=n),
        )  # fmt: skip
    things.StockEntry.objects.create(lot=lot, kind="receipt", mass_g=300_000, on=things.NOW.date())
    recipe = things.recipe(shares={version.approach: 1_000_000})
    person = things.person()
    type(recipe).objects.filter(pk=recipe.pk).update(
        state="in service", in_service_from=things.NOW.date(),
        approved_by=person, approved_at=things.NOW,
    )  # fmt: skip
    today = dt.date.today()  # noqa: DTZ011  the page's own day
    this = today - dt.timedelta(days=today.weekday())
    for week in range(1, 7):
        things.order([(recipe.blend, 1_000, 10)], due_on=this - dt.timedelta(weeks=week))
    needed = green_needed(today)[lot.pk]
    assert needed == pytest.approx([12.5] * 26, rel=0.02)
    page = client.get("/orders/buying/").context["page"]
    (row,) = page.rows
    assert row.free == "100.0 kg"
    assert row.soon
    assert not row.short
    assert "runs out within 26 weeks" in page.sentence
    # 325 kg are used, 25 kg stay, 100 kg are there: 250 kg in bags of 60 kg are five.
    assert sum(int(order.split()[0]) for order in row.orders) == 5
    late = client.get("/orders/buying/", {"lead": "12", "order_cost": "60", "holding": "8",
                                          "safety": "0"}).context["page"]  # fmt: skip
    assert "before an order can arrive" in late.sentence
    wrong = client.get("/orders/buying/", {"lead": "soon"})
    assert wrong.status_code == 200
