"""Ratings and words are entered: cell by cell, by whoever may, until the reveal."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from coupage.web.cuppings.actions.ratings import split_words
from coupage.web.cuppings.models import Cupping, Rating, Word
from coupage.web.people.models import Change, Person
from tests.web import things
from tests.web.conftest import As
from tests.web.cuppings.conftest import Table

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(taster: Person, signed_in: As) -> Client:
    return signed_in(taster)


@pytest.fixture
def host(roaster: Person, signed_in: As) -> Client:
    return signed_in(roaster)


@pytest.mark.parametrize(
    ("typed", "kept"), [("6.5", "6.5"), ("6,5", "6.5"), (" 7 ", "7"), ("0", "0"), ("10", "10")]
)
def test_a_cell_is_saved_as_it_is_typed(
    typed: str, kept: str, client: Client, table: Table, taster: Person
) -> None:
    answer = client.post(table.save(table.own), {table.cell(): typed})
    assert answer.status_code == 200
    assert "1 of 2 saved" in answer.text
    rating = Rating.objects.get()
    assert table.values() == [kept]
    assert rating.by == taster


@pytest.mark.parametrize("typed", ["10.5", "-1", "6.3", "six", "1e9", "NaN"])
def test_what_is_not_on_the_scale_is_refused_with_its_reason(
    typed: str, client: Client, table: Table
) -> None:
    answer = client.post(table.save(table.own), {table.cell(): typed})
    assert answer.status_code == 422
    assert "halves" in answer.text
    assert not Rating.objects.exists()


def test_a_cell_that_is_emptied_is_empty(client: Client, table: Table) -> None:
    client.post(table.save(table.own), {table.cell(): "4"})
    client.post(table.save(table.own), {table.cell(): ""})
    assert not Rating.objects.exists()


def test_the_same_value_sent_twice_is_kept_once(client: Client, table: Table) -> None:
    for _ in range(2):
        client.post(table.save(table.own), {table.cell(): "4"})
    client.post(table.save(table.own), {table.cell(): "5"})
    assert table.values() == ["5"]


def test_a_bad_cell_loses_nothing_that_was_typed(client: Client, table: Table) -> None:
    good, bad = table.box(0), table.box(1)
    answer = client.post(
        f"/cuppings/seats/{table.own.pk}/sheet/",
        {good: "6,5", bad: "twelve", table.box(0, 1): "3", f"w-{table.cups[0].code}": "plum"},
    )
    assert answer.status_code == 422
    assert sorted(table.values()) == ["3", "6.5"]
    assert "twelve" in answer.text
    assert "1 cell is not saved" in " ".join(answer.text.split())
    assert Word.objects.get().text == "plum"


def test_a_sheet_leaves_alone_what_others_entered_since_it_was_opened(
    host: Client, client: Client, table: Table
) -> None:
    """The host's sheet was opened while the cell was empty; the taster fills it meanwhile."""
    client.post(table.save(table.own), {table.cell(): "8"})
    host.post(
        f"/cuppings/seats/{table.own.pk}/sheet/",
        {
            table.box(0): "",
            f"was-{table.box(0)}": "",
            table.box(1): "2",
            f"was-{table.box(1)}": "",
        },
    )
    assert sorted(table.values()) == ["2", "8"]


def test_a_taster_fills_only_the_own_seat(client: Client, table: Table) -> None:
    other = table.other.pk
    assert client.post(table.save(table.other), {table.cell(): "4"}).status_code == 404
    plum = {f"w-{table.cups[0].code}": "plum"}
    assert client.post(table.words(table.other), plum).status_code == 404
    for page in ("sheet/", "taste/"):
        assert client.get(f"/cuppings/seats/{other}/{page}").status_code == 404
    assert client.post(f"/cuppings/seats/{other}/finish/").status_code == 404
    assert not Rating.objects.exists()


def test_a_roaster_fills_any_seat_and_what_they_change_is_noted(
    host: Client, client: Client, table: Table, roaster: Person
) -> None:
    host.post(table.save(table.other), {table.cell(): "4"})
    assert Rating.objects.get().by == roaster
    client.post(table.save(table.own), {table.cell(): "3"})
    assert not Change.objects.filter(verb__startswith="changed a rating").exists()
    host.post(table.save(table.own), {table.cell(): "6"})
    change = Change.objects.get(verb__startswith="changed a rating")
    assert list(change.before.values()) == ["3"]
    assert list(change.after.values()) == ["6"]


def test_a_viewer_rates_nothing(viewer: Person, signed_in: As, table: Table) -> None:
    answer = signed_in(viewer).post(table.save(table.own), {table.cell(): "4"})
    assert answer.status_code == 403
    assert not Rating.objects.exists()


def test_ratings_after_the_reveal_are_refused_kindly(client: Client, table: Table) -> None:
    Cupping.objects.filter(pk=table.cupping.pk).update(state="revealed", revealed_at=things.NOW)
    answer = client.post(table.save(table.own), {table.cell(): "4"})
    assert answer.status_code == 422
    assert "Thank you, but this table is closed" in answer.text
    said = client.post(table.words(table.own), {f"w-{table.cups[0].code}": "plum"})
    assert "closed and revealed" in said.text
    assert not Rating.objects.exists()
    assert not Word.objects.exists()


def test_cells_of_another_table_are_refused(client: Client, table: Table) -> None:
    elsewhere = things.cupping(tasters=[table.own.taster])
    cup, round_ = elsewhere.cups.all()[0], elsewhere.rounds.all()[0]
    foreign = f"/cuppings/seats/{table.own.pk}/cups/0{cup.code}/ratings/"
    assert client.post(foreign, {table.cell(): "4"}).status_code == 404
    asked = table.cupping.asked.all()[0].attribute_id
    assert client.post(table.save(table.own), {f"r-{round_.pk}-{asked}": "4"}).status_code == 422
    assert not Rating.objects.exists()


def test_words_are_what_the_box_says(client: Client, table: Table) -> None:
    address = table.words(table.own)
    box = f"w-{table.cups[0].code}"
    assert "2 words saved" in client.post(address, {box: "Red Currant, cocoa"}).text
    assert "1 word saved" in client.post(address, {box: "red currant"}).text
    assert list(Word.objects.values_list("text", flat=True)) == ["red currant"]
    long = client.post(address, {box: "x" * 41})
    assert long.status_code == 422
    assert "longer than 40 letters" in long.text
    assert Word.objects.count() == 1


def test_words_are_parted_and_said_once() -> None:
    assert split_words("Plum;  black   TEA\nplum,,") == ["plum", "black tea"]


def test_a_taster_says_that_they_are_done(client: Client, table: Table) -> None:
    client.post(f"/cuppings/seats/{table.own.pk}/finish/")
    table.own.refresh_from_db()
    assert table.own.finished_at is not None
    client.post(f"/cuppings/seats/{table.own.pk}/finish/?back")
    table.own.refresh_from_db()
    assert table.own.finished_at is None


def test_the_matrix_shows_who_has_rated_which_cup(host: Client, table: Table) -> None:
    host.post(table.save(table.own), {table.cell(a, r): "5" for a in (0, 1) for r in (0, 1)})
    host.post(table.save(table.other, 1), {table.cell(): "5"})
    page = host.get(f"/cuppings/{table.cupping.pk}/").context["page"]
    said = [[cell.said for cell in row.cells] for row in page.matrix]
    assert said == [["all", "–"], ["–", "1/4"]]
    assert page.empty_cells == 11
    assert "5 ratings are in, 11 of 16 are missing" in page.sentence


def test_a_sheet_costs_no_more_queries_when_the_table_grows(host: Client) -> None:
    def cost(cups: int) -> list[int]:
        table = things.cupping(samples=[things.sample() for _ in range(cups)])
        things.rate_all(table)
        seat = table.seats.all()[0].pk
        found = []
        for page in (f"{table.pk}/", f"seats/{seat}/sheet/"):
            with CaptureQueriesContext(connection) as made:
                assert host.get(f"/cuppings/{page}").status_code == 200
            found.append(len(made))
        return found

    assert cost(3) == cost(9)
