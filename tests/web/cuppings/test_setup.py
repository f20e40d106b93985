"""A table is set up: what is asked, what stands on it, who sits at it; and then it is opened."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from coupage.table import order_balance
from coupage.web.cuppings.actions.setup import fresh_codes
from coupage.web.cuppings.models import Cup, Cupping, Sample, Seat, Taster
from coupage.web.people.models import Change, Person
from tests.web import things
from tests.web.conftest import As

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(roaster: Person, signed_in: As) -> Client:
    return signed_in(roaster)


def typed(**more: object) -> dict[str, object]:
    return {
        "name": "Morning table",
        "held_at": "2026-03-14T10:00",
        "protocol": str(things.protocol(passes="warm, cool").pk),
        "passes": "",
        "attributes": [str(things.attribute("body").pk), str(things.attribute("acidity").pk)],
        "note": "",
    } | more


def planned(**more: object) -> Cupping:
    return things.cupping(state="planned", **more)  # type: ignore[arg-type]


def test_a_table_takes_the_passes_of_its_protocol(client: Client) -> None:
    answer = client.post("/cuppings/add/", typed())
    table = Cupping.objects.get()
    assert answer.headers["Location"] == f"/cuppings/{table.pk}/"
    assert [round_.name for round_ in table.rounds.all()] == ["warm", "cool"]
    assert [entry.attribute.name for entry in table.asked.all()] == ["acidity", "body"]
    assert Change.objects.get(kind="cuppings.cupping").verb == "set up"


def test_the_standard_attributes_are_ticked_and_a_free_name_is_suggested(client: Client) -> None:
    things.attribute("body")
    things.attribute("astringency", standard=False)
    form = client.get("/cuppings/add/").context["form"]
    assert [a.name for a in form.fields["attributes"].queryset] == ["astringency", "body"]
    assert form.fields["attributes"].initial == [things.attribute("body").pk]
    things.cupping(name=form.initial["name"])
    again = client.get("/cuppings/add/").context["form"].initial["name"]
    assert again.startswith(form.initial["name"])
    assert again != form.initial["name"]


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"name": ""}, "name"),
        ({"held_at": "soon"}, "held_at"),
        ({"protocol": "99999"}, "protocol"),
        ({"attributes": []}, "attributes"),
        ({"passes": "warm, Warm"}, "passes"),
        ({"passes": "x" * 31}, "passes"),
    ],
)
def test_bad_input_is_said_beside_the_field_and_no_table_is_made(
    wrong: dict[str, object], field: str, client: Client
) -> None:
    answer = client.post("/cuppings/add/", typed(**wrong))
    assert field in answer.context["form"].errors
    assert not Cupping.objects.exists()


def test_a_batch_is_put_on_the_table_as_it_is(client: Client) -> None:
    table, batch = planned(), things.batch()
    before = table.cups.count()
    client.post(f"/cuppings/{table.pk}/samples/batch/", {"batch": batch.pk, "cups": "3"})
    sample = Sample.objects.get(parts__batch=batch)
    assert sample.sealed
    assert sample.kind == "batch"
    assert batch.number in sample.label
    assert table.cups.count() == before + 3
    assert len({cup.code for cup in table.cups.all()}) == before + 3
    # Put there once more with fewer cups: the same sample, the codes that stay are the same.
    codes = list(table.cups.filter(sample=sample).order_by("number").values_list("code", flat=True))
    client.post(f"/cuppings/{table.pk}/samples/batch/", {"batch": batch.pk, "cups": "2"})
    left = table.cups.filter(sample=sample).order_by("number").values_list("code", flat=True)
    assert list(left) == codes[:2]
    assert Sample.objects.filter(parts__batch=batch).count() == 1


def test_a_trial_blend_is_weighed_from_batches(client: Client) -> None:
    table, one, two = planned(), things.batch(), things.batch()
    rows = {
        "form-TOTAL_FORMS": "3",
        "form-INITIAL_FORMS": "0",
        "form-0-component": str(one.pk),
        "form-0-share": "60",
        "form-1-component": str(two.pk),
        "form-1-share": "39,5",
    }
    address = f"/cuppings/{table.pk}/samples/trial/"
    short = client.post(address, rows | {"label": "Heavier", "cups": "1"})
    assert "0.5 % are missing" in short.text
    assert not Sample.objects.filter(label="Heavier").exists()
    client.post(address, rows | {"label": "Heavier", "cups": "1", "form-1-share": "40"})
    sample = Sample.objects.get(label="Heavier")
    assert sample.kind == "trial"
    assert {p.batch: p.share_ppm for p in sample.parts.all()} == {one: 600_000, two: 400_000}
    assert table.cups.filter(sample=sample).count() == 1
    again = client.post(address, rows | {"label": "Heavier", "cups": "1", "form-1-share": "40"})
    assert "Another sample has this name" in again.text


def test_a_void_batch_is_not_offered(client: Client) -> None:
    table, batch = planned(), things.batch(void=True)
    answer = client.post(f"/cuppings/{table.pk}/samples/batch/", {"batch": batch.pk, "cups": "1"})
    assert answer.status_code == 422
    assert "batch" in answer.context["batch_form"].errors


def test_a_guest_gets_a_seat_by_name_and_is_known_from_then_on(client: Client) -> None:
    table = planned()
    address = f"/cuppings/{table.pk}/tasters/add/"
    client.post(address, {"guest": "  Aunt   Wren "})
    assert table.seats.filter(taster__name="Aunt Wren", taster__person=None).exists()
    known = client.post(address, {"guest": "aunt wren"})
    assert "is known already" in known.text
    assert "not both" in client.post(address, {}).text
    assert Taster.objects.filter(name__iexact="aunt wren").count() == 1


def test_samples_and_seats_can_be_taken_away_again(client: Client) -> None:
    table = planned()
    sample, seat = table.cups.all()[0].sample, table.seats.all()[0]
    client.post(f"/cuppings/{table.pk}/samples/{sample.pk}/take-off/")
    client.post(f"/cuppings/seats/{seat.pk}/remove/")
    assert not table.cups.filter(sample=sample).exists()
    assert Sample.objects.filter(pk=sample.pk).exists()
    assert not Seat.objects.filter(pk=seat.pk).exists()


def test_a_table_with_something_missing_is_not_opened_and_says_why(client: Client) -> None:
    table = planned()
    Cup.objects.filter(cupping=table).delete()
    table.seats.all().delete()
    page = client.get(f"/cuppings/{table.pk}/").text
    assert "Nothing stands on the table" in page
    assert "Open the table" not in page
    client.post(f"/cuppings/{table.pk}/open/")
    table.refresh_from_db()
    assert table.state == "planned"


def test_opening_deals_balanced_orders_of_all_cups(client: Client) -> None:
    samples = [things.sample() for _ in range(4)]
    tasters = [things.taster() for _ in range(4)]
    table = planned(samples=samples, tasters=tasters)
    for seat in table.seats.all():
        seat.servings.all().delete()
    client.post(f"/cuppings/{table.pk}/open/")
    table.refresh_from_db()
    assert table.state == "open"
    cups = sorted(table.cups.values_list("pk", flat=True))
    orders = [
        [cups.index(s.cup_id) for s in seat.servings.order_by("position")]
        for seat in table.seats.all()
    ]
    # Four tasters and four cups fill one Williams square (Williams 1949): complete balance.
    assert order_balance(np.array(orders)).complete


def test_orders_that_are_complete_stay_when_the_table_is_opened(client: Client) -> None:
    table = planned()
    orders = [(s.seat_id, s.cup_id, s.position) for s in _servings(table)]
    assert orders
    client.post(f"/cuppings/{table.pk}/open/")
    assert [(s.seat_id, s.cup_id, s.position) for s in _servings(table)] == orders


def _servings(table: Cupping) -> list[object]:
    return list(
        itertools.chain.from_iterable(
            seat.servings.order_by("position") for seat in table.seats.order_by("order")
        )
    )


def test_a_latecomer_gets_a_seat_and_an_order_at_an_open_table(client: Client) -> None:
    table = things.cupping()
    client.post(f"/cuppings/{table.pk}/tasters/add/", {"guest": "Late Heron"})
    seat = table.seats.get(taster__name="Late Heron")
    assert sorted(seat.servings.values_list("cup_id", flat=True)) == sorted(
        table.cups.values_list("pk", flat=True)
    )


def test_nothing_is_put_on_or_taken_off_an_open_table(client: Client) -> None:
    table, batch = things.cupping(), things.batch()
    answer = client.post(
        f"/cuppings/{table.pk}/samples/batch/", {"batch": batch.pk, "cups": "1"}, follow=True
    )
    assert "while a table is being set up" in answer.text
    sample = table.cups.all()[0].sample
    client.post(f"/cuppings/{table.pk}/samples/{sample.pk}/take-off/")
    assert table.cups.count() == 2
    assert not Sample.objects.filter(parts__batch=batch).exists(), "nor is a sample left behind"


def test_a_seat_that_holds_ratings_stays(client: Client) -> None:
    table = things.cupping()
    things.rate_all(table)
    seat = table.seats.all()[0]
    client.post(f"/cuppings/seats/{seat.pk}/remove/")
    assert Seat.objects.filter(pk=seat.pk).exists()


def test_of_two_people_who_change_a_table_the_second_is_told(client: Client) -> None:
    client.post("/cuppings/add/", typed())
    table = Cupping.objects.get()
    base = typed(protocol=str(table.protocol_id)) | {"revision": "1"}
    address = f"/cuppings/{table.pk}/change/"
    assert client.post(address, base | {"note": "mine"}).status_code == 302
    told = client.post(address, base | {"note": "yours", "name": "Evening table"})
    assert "Somebody else saved this first" in told.text
    assert "Evening table" in told.text
    table.refresh_from_db()
    assert (table.note, table.name) == ("mine", "Morning table")


def test_new_codes_stay_clear_of_those_that_are_printed_already() -> None:
    taken = ["241", "683", "975"]
    for code in fresh_codes(6, taken):
        assert all(sum(x != y for x, y in zip(code, old, strict=True)) >= 2 for old in taken)
        assert all(set(code) != set(old) for old in taken)
    assert len(set(fresh_codes(20, taken)) | set(taken)) == 23


def test_a_viewer_cannot_set_up_and_a_stranger_is_sent_to_sign_in(
    viewer: Person, signed_in: As
) -> None:
    table = planned()
    client = signed_in(viewer)
    assert client.get(f"/cuppings/{table.pk}/").status_code == 200
    assert client.post("/cuppings/add/", typed()).status_code == 403
    assert client.post(f"/cuppings/{table.pk}/open/").status_code == 403
    assert Client().get(f"/cuppings/{table.pk}/").status_code == 302
    assert Cupping.objects.count() == 1


def test_a_void_table_counts_nowhere_and_comes_back(client: Client) -> None:
    table = things.cupping()
    client.post(f"/cuppings/{table.pk}/void/")
    assert not client.get("/cuppings/").context["page"].tables.rows
    client.post(f"/cuppings/{table.pk}/void/?back")
    assert client.get("/cuppings/").context["page"].tables.rows[0].table == table


def test_the_list_costs_no_more_queries_when_it_grows(
    client: Client, taster: Person, signed_in: As
) -> None:
    own = things.taster(person=taster)
    theirs = signed_in(taster)

    def cost(who: Client) -> int:
        with CaptureQueriesContext(connection) as made:
            assert who.get("/cuppings/").status_code == 200
        return len(made)

    for _ in range(10):
        things.cupping(tasters=[own])
    before = [cost(client), cost(theirs)]
    for _ in range(10):
        things.cupping(tasters=[own])
    assert [cost(client), cost(theirs)] == before


def test_the_list_finds_filters_and_sorts(client: Client) -> None:
    things.cupping(name="Alder table")
    things.cupping(name="Birch table", state="planned")
    names = lambda query: [  # noqa: E731
        row.table.name for row in client.get(f"/cuppings/?{query}").context["page"].tables.rows
    ]
    assert names("q=alder") == ["Alder table"]
    assert names("state=planned") == ["Birch table"]
    assert names("sort=-name") == ["Birch table", "Alder table"]
