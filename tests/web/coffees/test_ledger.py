"""The ledger of green over random histories: never below nothing, a sum at every date."""

from __future__ import annotations

import datetime as dt
import random

import pytest
from django.db import DatabaseError, connection, transaction
from django.test import Client

from coupage.errors import InputError
from coupage.web.batches.models import Batch
from coupage.web.coffees import actions, queries
from coupage.web.coffees.models import Reservation, StockEntry
from coupage.web.people.models import Person
from tests.web import things
from tests.web.conftest import As

pytestmark = pytest.mark.django_db
TODAY = things.NOW.date()


@pytest.fixture
def client(roaster: Person, signed_in: As) -> Client:
    return signed_in(roaster)


@pytest.mark.parametrize("seed", range(6))
def test_over_any_history_stock_is_a_sum_and_never_promised_twice(
    seed: int, roaster: Person
) -> None:
    """Deeds drawn at random; our own running account is the check. Deeds may be refused, never
    half done."""
    draw = random.Random(seed)
    lot = things.lot(received_kg=0)
    version = things.approach_version(lot=lot)
    hand, held, by_date = 0, {"a": 0, "b": 0}, []
    for step in range(30):
        on = TODAY + dt.timedelta(days=step)
        at = things.NOW + dt.timedelta(days=step)
        kind = draw.choice(["receipt", "count", "sold", "plan", "plan", "roast"])
        mass = draw.randint(1, 90) * 1000
        try:
            with transaction.atomic():
                if kind == "receipt":
                    bags = draw.randint(1, 3)
                    actions.enter_stock(
                        lot=lot, kind=kind, mass_g=bags * 69_000, bags=bags, bag_g=69_000,
                        on=on, by=roaster, at=at,
                    )  # fmt: skip
                    hand += bags * 69_000
                elif kind in {"count", "sold"}:
                    actions.enter_stock(
                        lot=lot, kind=kind, mass_g=-mass, on=on, by=roaster, at=at, reason=str(step)
                    )
                    hand -= mass
                elif kind == "plan":
                    name = draw.choice("ab")
                    wanted = draw.choice([0, mass])
                    actions.reserve(
                        purpose=name, wanted_g={lot.pk: wanted}, on=on, by=roaster, at=at
                    )
                    held[name] = wanted
                elif hand - sum(held.values()) >= mass:
                    things.batch(
                        approach_version=version, green_g=mass, roasted_g=mass - 1, roasted_at=at
                    )
                    hand -= mass
        except InputError:
            pass
        by_date.append((on, hand, sum(held.values())))
        now = queries.lots().get(pk=lot.pk)
        assert (now.on_hand_g, now.promised_g) == (hand, sum(held.values()))
        assert hand >= 0
        assert Reservation.objects.filter(lot=lot, mass_g=0).count() == 0
    for on, then, promised in by_date:
        past = queries.lots(on).get(pk=lot.pk)
        assert (past.on_hand_g, past.promised_g) == (then, promised), on


def test_what_is_promised_cannot_be_sold(roaster: Person) -> None:
    lot = things.lot(received_kg=60)
    actions.reserve(
        purpose="a roast day", wanted_g={lot.pk: 50_000}, on=TODAY, by=roaster, at=things.NOW
    )
    with pytest.raises(InputError, match=r"only 10.0 kg of .* are free; 50.0 kg are promised"):
        actions.enter_stock(
            lot=lot, kind="sold", mass_g=-11_000, on=TODAY, by=roaster, at=things.NOW
        )
    with pytest.raises(InputError, match=r"needs 11.0 kg .* 10.0 kg are free"):
        actions.reserve(
            purpose="another", wanted_g={lot.pk: 11_000}, on=TODAY, by=roaster, at=things.NOW
        )


def test_planning_again_writes_only_the_difference(roaster: Person) -> None:
    first, second = things.lot(received_kg=60), things.lot(received_kg=60)

    def plan(**wanted: int) -> list[int]:
        keys = {"first": first.pk, "second": second.pk}
        lines = actions.reserve(
            purpose="a roast day",
            wanted_g={keys[name]: mass for name, mass in wanted.items()},
            on=TODAY,
            by=roaster,
            at=things.NOW,
        )
        return [line.mass_g for line in lines]

    assert plan(first=20_000) == [20_000]
    assert plan(first=20_000) == []
    assert plan(first=15_000, second=60_000) == [-5_000, 60_000]
    assert plan() == [-15_000, -60_000]


def test_the_database_itself_keeps_the_ledger(roaster: Person) -> None:
    """Past all actions: less than nothing, promises of what is not there, changed lines."""
    lot = things.lot(received_kg=60)
    line = {"lot": lot, "on": TODAY, "by": roaster}

    def refused(make: object, says: str) -> None:
        with pytest.raises(DatabaseError, match=says), transaction.atomic():
            make()  # type: ignore[operator]

    entry = StockEntry.objects.create
    promise = Reservation.objects.create
    refused(lambda: entry(kind="count", mass_g=-60_001, reason="x", **line), "is on hand")
    refused(lambda: promise(purpose="p", mass_g=60_001, **line), "is not free")
    promise(purpose="p", mass_g=40_000, **line)
    refused(lambda: promise(purpose="q", mass_g=20_001, **line), "is not free")
    refused(lambda: entry(kind="sold", mass_g=-20_001, **line), "is not free")
    refused(lambda: promise(purpose="q", mass_g=-1, **line), "more is let go")
    refused(lambda: StockEntry.objects.update(mass_g=1), "only ever added to")
    refused(lambda: Reservation.objects.all().delete(), "only ever added to")
    refused(
        lambda: entry(kind="receipt", mass_g=120_000, bags=2, bag_g=69_000, **line),
        "stock_bags_weigh_what_they_hold",
    )


def test_roasting_is_written_down_even_where_the_books_hold_less(roaster: Person) -> None:
    """A batch that was roasted was roasted; the page then says what is missing."""
    lot = things.lot(received_kg=10)
    things.batch(approach_version=things.approach_version(lot=lot), green_g=12_000)
    assert Batch.objects.count() == 1
    assert queries.lots().get(pk=lot.pk).on_hand_g == -2_000


def test_a_receipt_is_typed_in_bags(client: Client) -> None:
    lot = things.lot(received_kg=0, bag_g=69_000)
    address = f"/coffees/{lot.pk}/stock/"
    sent = {"kind": "receipt", "bags": "3", "bag_g": "69", "on": "2026-03-14"}
    assert "69" in client.get(address).text
    assert client.post(address, sent).status_code == 302
    entry = StockEntry.objects.get()
    assert (entry.mass_g, entry.bags, entry.bag_g) == (207_000, 3, 69_000)
    page = client.get(f"/coffees/{lot.pk}/").text
    assert "3 × 69 kg" in page
    for wrong, says in (
        ({"mass_g": "200"}, "not what the bags weigh"),
        ({"bags": "", "bag_g": ""}, "as a mass or in bags"),
        ({"kind": "sold"}, "Only a receipt comes in bags"),
        ({"bag_g": ""}, "Say what one bag weighs"),
    ):
        assert says in client.post(address, sent | wrong).text
    assert StockEntry.objects.count() == 1


def test_killed_in_the_middle_the_books_balance(roaster: Person) -> None:
    """A connection that is lost before the end leaves nothing of a deed behind."""
    lot = things.lot(received_kg=60)
    try:
        with transaction.atomic():
            actions.reserve(
                purpose="p", wanted_g={lot.pk: 9_000}, on=TODAY, by=roaster, at=things.NOW
            )
            raise ConnectionError
    except ConnectionError:
        pass
    assert queries.lots().get(pk=lot.pk).promised_g == 0
    assert not connection.needs_rollback
