"""Lots and their ledger, as a roaster keeps them."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from coupage.web.coffees import queries
from coupage.web.coffees.models import ApproachVersion, Lot, StockEntry
from coupage.web.people.models import Change, Person
from tests.web import things
from tests.web.conftest import As

pytestmark = pytest.mark.django_db

LOT = {
    "name": "Amber Ridge",
    "origin": "Ethiopia",
    "process": "natural",
    "species": "arabica",
    "price_per_kg": "8,20",
    "moisture_pct": "10.9",
    "bag_g": "60",
    "received_g": "300",
    "on": "2026-03-02",
}


def test_a_roaster_adds_a_lot_with_its_receipt(roaster: Person, signed_in: As) -> None:
    answer = signed_in(roaster).post("/coffees/add/", LOT)
    lot = queries.lots().get()
    assert answer.headers["Location"] == f"/coffees/{lot.pk}/"
    assert (str(lot.price_per_kg), lot.bag_g, lot.on_hand_g) == ("8.2000", 60_000, 300_000)
    assert Change.objects.filter(kind="coffees.lot", by=roaster, verb="added").exists()


def test_pounds_are_taken_from_a_person_who_thinks_in_pounds(
    roaster: Person, signed_in: As
) -> None:
    Person.objects.update(mass_unit="lb")
    signed_in(roaster).post("/coffees/add/", LOT | {"bag_g": "132", "received_g": "1"})
    lot = queries.lots().get()
    assert (lot.bag_g, lot.on_hand_g) == (59_874, 454)
    assert "132.00 lb" in signed_in(roaster).get(f"/coffees/{lot.pk}/").text


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"name": ""}, "name"),
        ({"price_per_kg": "eight"}, "price_per_kg"),
        ({"price_per_kg": "-1"}, "price_per_kg"),
        ({"moisture_pct": "55"}, "moisture_pct"),
        ({"bag_g": "0"}, "bag_g"),
        ({"received_g": "-60"}, "received_g"),
        ({"process": "steamed"}, "process"),
        ({"on": "31.2.2026"}, "on"),
    ],
)
def test_bad_input_is_said_beside_the_field_and_nothing_is_written(
    wrong: dict[str, str], field: str, roaster: Person, signed_in: As
) -> None:
    answer = signed_in(roaster).post("/coffees/add/", LOT | wrong)
    assert field in answer.context["form"].errors
    assert not Lot.objects.exists()
    assert not StockEntry.objects.exists()
    typed = wrong[field]
    assert not typed or typed in answer.text, "what was typed is still there"


def test_a_viewer_reads_but_cannot_change(viewer: Person, signed_in: As) -> None:
    lot = things.lot()
    page = signed_in(viewer).get(f"/coffees/{lot.pk}/")
    assert page.status_code == 200
    assert "Put away" not in page.text
    assert signed_in(viewer).post("/coffees/add/", LOT).status_code == 403
    assert Lot.objects.count() == 1


def test_a_stranger_sees_nothing(roastery: object) -> None:
    assert Client().get(f"/coffees/{things.lot().pk}/").status_code == 302


def test_stock_is_the_sum_of_the_ledger_less_green_roasted(roaster: Person, signed_in: As) -> None:
    lot = things.lot(received_kg=120)
    version = things.approach_version(lot=lot)
    things.batch(approach_version=version, green_g=12_000)
    things.batch(approach_version=version, green_g=11_000, void=True)
    client = signed_in(roaster)
    client.post(
        f"/coffees/{lot.pk}/stock/",
        {"kind": "moisture", "mass_g": "-1,5", "on": "2026-03-05", "reason": "dry store"},
    )
    assert queries.lots().get().on_hand_g == 120_000 - 12_000 - 1_500


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"kind": "count", "mass_g": "-5"}, "Say why the stock is corrected."),
        ({"kind": "sold", "mass_g": "500"}, "Only 120.0 kg"),
        ({"kind": "receipt", "mass_g": "-5"}, "leave the minus away"),
        ({"kind": "receipt", "mass_g": "0"}, "Nothing changes by 0"),
    ],
)
def test_a_wrong_ledger_line_is_explained_and_not_written(
    typed: dict[str, str], says: str, roaster: Person, signed_in: As
) -> None:
    lot = things.lot(received_kg=120)
    answer = signed_in(roaster).post(f"/coffees/{lot.pk}/stock/", {"on": "2026-03-05"} | typed)
    assert says in answer.text
    assert StockEntry.objects.count() == 1


def test_of_two_people_who_change_a_lot_the_second_is_told_and_loses_nothing(
    roaster: Person, owner: Person, signed_in: As
) -> None:
    lot = things.lot(name="Amber Ridge", producer="old producer")
    base = {"name": "Amber Ridge", "origin": "Kenya", "process": "washed", "species": "arabica"}
    first = base | {"producer": "first typed", "revision": "1"}
    second = base | {"producer": "second typed", "revision": "1"}
    address = f"/coffees/{lot.pk}/change/"
    assert signed_in(roaster).post(address, first).status_code == 302
    told = signed_in(owner).post(address, second)
    assert told.status_code == 200
    assert "Somebody else saved this first" in told.text
    assert "first typed" in told.text
    assert "second typed" in told.text
    lot.refresh_from_db()
    assert lot.producer == "first typed"
    again = second | {"revision": str(told.context["revision"])}
    assert signed_in(owner).post(address, again).status_code == 302
    lot.refresh_from_db()
    assert lot.producer == "second typed"


def test_putting_away_can_be_undone(roaster: Person, signed_in: As) -> None:
    lot, client = things.lot(), signed_in(roaster)
    client.post(f"/coffees/{lot.pk}/put-away/")
    assert not client.get("/coffees/").context["page"].lots.rows
    assert list(client.get("/coffees/?kept=away").context["page"].lots.rows) == [lot]
    client.post(f"/coffees/{lot.pk}/put-away/?back")
    assert list(client.get("/coffees/").context["page"].lots.rows) == [lot]


def test_lists_search_sort_and_filter(roaster: Person, signed_in: As) -> None:
    things.lot(name="Amber", origin="Ethiopia", process="natural")
    things.lot(name="Birch", origin="Brazil", process="washed", received_kg=10)
    client = signed_in(roaster)

    def names(query: str) -> list[str]:
        return [lot.name for lot in client.get(f"/coffees/{query}").context["page"].lots.rows]

    assert names("?q=ethio") == ["Amber"]
    assert names("?process=washed") == ["Birch"]
    assert names("?kept=low") == ["Birch"]
    assert names("?sort=-on_hand") == ["Amber", "Birch"]
    assert names("?sort=on_hand") == ["Birch", "Amber"]
    assert "Birch is running low." in client.get("/coffees/").text


def test_the_list_costs_no_more_queries_when_it_grows(roaster: Person, signed_in: As) -> None:
    client = signed_in(roaster)

    def cost() -> int:
        with CaptureQueriesContext(
            connection,
        ) as queries_made:
            client.get("/coffees/")
        return len(queries_made)

    for _ in range(10):
        things.batch()
    before = cost()
    for _ in range(10):
        things.batch()
    assert cost() == before


def test_new_targets_are_a_new_version_and_old_batches_keep_theirs(
    roaster: Person, signed_in: As
) -> None:
    version = things.approach_version(loss_pct="15.0")
    batch = things.batch(approach_version=version)
    client = signed_in(roaster)
    typed = {
        "since": "2026-03-10",
        "charge_g": "12",
        "loss_pct": "16,5",
        "loss_tolerance_pct": "0.5",
        "colour_tolerance": "2",
        "seconds_tolerance": "15",
        "end_temperature_tolerance_c": "1",
    }
    answer = client.post(f"/coffees/approaches/{version.approach_id}/targets/", typed)
    assert answer.status_code == 302
    newest = ApproachVersion.objects.get(number=2)
    assert (str(newest.loss_pct), newest.charge_g) == ("16.5", 12_000)
    batch.refresh_from_db()
    assert batch.approach_version == version


def test_a_colour_without_its_scale_is_refused(roaster: Person, signed_in: As) -> None:
    lot = things.lot()
    typed = {
        "name": "lighter",
        "since": "2026-03-10",
        "colour": "90",
        "loss_tolerance_pct": "0.5",
        "colour_tolerance": "2",
        "seconds_tolerance": "15",
        "end_temperature_tolerance_c": "1",
    }
    answer = signed_in(roaster).post(f"/coffees/{lot.pk}/approaches/add/", typed)
    assert "Name the scale" in answer.text
    assert not ApproachVersion.objects.exists()


def test_a_new_approach_begins_with_the_usual_tolerances(roaster: Person, signed_in: As) -> None:
    form = signed_in(roaster).get(f"/coffees/{things.lot().pk}/approaches/add/").context["form"]
    assert str(form["loss_tolerance_pct"].value()) == "0.5"
    assert str(form["end_temperature_tolerance_c"].value()) == "1"


def test_the_same_line_is_entered_once_however_often_the_button_is_pressed(
    roaster: Person, signed_in: As
) -> None:
    lot, client = things.lot(received_kg=0), signed_in(roaster)
    line = {"kind": "receipt", "mass_g": "60", "on": "2026-03-05", "reason": "one bag"}
    address = f"/coffees/{lot.pk}/stock/"
    assert client.post(address, line).status_code == 302
    assert "This very line is in the ledger already" in client.post(address, line).text
    assert queries.lots().get().on_hand_g == 60_000
    client.post(address, line | {"reason": "one bag, the second van"})
    assert queries.lots().get().on_hand_g == 120_000


def test_a_person_who_thinks_in_pounds_is_told_in_pounds(roaster: Person, signed_in: As) -> None:
    lot = things.lot(received_kg=50, bag_g=60_000)
    Person.objects.update(mass_unit="lb")
    client = signed_in(roaster)
    # NIST Handbook 44: 50 kg are 110.23 lb, 60 kg are 132.28 lb.
    told = client.post(
        f"/coffees/{lot.pk}/stock/", {"kind": "sold", "mass_g": "200", "on": "2026-03-05"}
    )
    assert "Only 110.23 lb of" in told.text
    for page in ("/coffees/", f"/coffees/{lot.pk}/"):
        text = client.get(page).text
        assert "110.23 lb" in text
        assert " kg<" not in text
    assert 'value="132.277"' in client.get(f"/coffees/{lot.pk}/change/").text


def test_an_approach_is_put_away_with_a_way_back(roaster: Person, signed_in: As) -> None:
    approach, client = things.approach_version().approach, signed_in(roaster)
    address = f"/coffees/approaches/{approach.pk}/put-away/"
    answer = client.post(address, follow=True)
    assert f'action="{address}?back"' in answer.text
    assert approach not in queries.approaches()
    client.post(f"{address}?back")
    assert approach in queries.approaches()


@pytest.mark.parametrize("huge", ["1e999999999", "1e40", "9" * 400])
def test_huge_numbers_are_refused_at_once(huge: str, roaster: Person, signed_in: As) -> None:
    client = signed_in(roaster)
    for field in ("price_per_kg", "bag_g", "received_g", "moisture_pct"):
        answer = client.post("/coffees/add/", LOT | {field: huge})
        assert field in answer.context["form"].errors
    lot = things.lot()
    line = {"kind": "receipt", "mass_g": huge, "on": "2026-03-05"}
    assert client.post(f"/coffees/{lot.pk}/stock/", line).context["form"].errors["mass_g"]
    assert Lot.objects.get() == lot


def test_one_lot_costs_no_more_queries_when_its_books_grow(roaster: Person, signed_in: As) -> None:
    lot, client = things.lot(), signed_in(roaster)

    def grow(n: int) -> None:
        version = things.approach_version(lot=lot, name=f"way {n}")
        things.batch(approach_version=version)
        StockEntry.objects.create(
            lot=lot, kind="receipt", mass_g=1000 + n, on=things.NOW.date(), by=roaster
        )

    def cost() -> int:
        with CaptureQueriesContext(connection) as made:
            client.get(f"/coffees/{lot.pk}/")
        return len(made)

    for n in range(10):
        grow(n)
    before = cost()
    for n in range(10, 20):
        grow(n)
    assert cost() == before


def test_an_empty_list_leads_on_whoever_may_add(
    roaster: Person, viewer: Person, signed_in: As
) -> None:
    assert "Add the first lot" in signed_in(roaster).get("/coffees/").text
    assert "Add the first lot" not in signed_in(viewer).get("/coffees/").text
    things.lot(archived=True)
    text = signed_in(roaster).get("/coffees/").text
    assert "Add the first lot" not in text
    assert "Show all lots" in text
