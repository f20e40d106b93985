"""A test is planned: its size worked out, its trays dealt, its sheets printed."""

from __future__ import annotations

from collections import Counter

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from coupage.difference import assessors_needed, power, power_similar, sequential_plan, set_orders
from coupage.web.guests import queries
from coupage.web.guests.actions import planning
from coupage.web.guests.models import CupSet, GuestTest
from coupage.web.people.models import Person
from tests.web import things
from tests.web.conftest import As
from tests.web.guests.conftest import opened, planned, typed

pytestmark = pytest.mark.django_db


def test_an_empty_number_of_tasters_becomes_as_many_as_the_test_needs(desk: Client) -> None:
    """ISO 4120:2021, Table A.3: 66 assessors at 30 %, 5 %, 5 %."""
    desk.post("/guests/add/", typed())
    test = GuestTest.objects.get()
    assert test.tasters == 66 == assessors_needed("triangle", 0.3, 0.05, 0.05)
    assert test.trays.count() == 66


def test_the_panel_says_what_the_room_says(desk: Client) -> None:
    said = desk.get("/guests/size/", typed(tasters="40")).text
    assert f"found {100 * power('triangle', 40, 0.3, 0.05):.0f} % of the time" in said
    assert "40 answers are fewer than the 66 this takes" in said
    alike = desk.get("/guests/size/", typed(tasters="66", question="likeness")).text
    assert f"shown {100 * power_similar('triangle', 66, 0.3, 0.05):.0f} % of the time" in alike
    assert "unless" not in alike


def test_the_panel_reckons_early_stopping_exactly(desk: Client) -> None:
    said = desk.get("/guests/size/", typed(tasters="66", stops_early="on")).text
    plan = sequential_plan("triangle", pd=0.3, max_answers=66)
    assert f"About {plan.risks(0.0).mean_answers:.0f} answers are enough if nobody" in said
    assert f"different {100 * plan.risks(0.3).different:.0f} %" in said


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"b_label": ""}, "Name the coffee"),
        ({"b_label": "Spring lot"}, "A and B are the same"),
        ({"kind": "2-AFC"}, "Say what there is more of"),
        ({"stops_early": "on", "repeats": "2"}, "one answer of each taster"),
        ({"share_ppm": "1"}, "would take"),
        ({"alpha_ppm": "60"}, "at most 49"),
        ({"a_source": "batch:999"}, "not one of the available choices"),
    ],
)
def test_what_cannot_be_is_told_beside_the_field_and_typing_stays(
    values: dict[str, str], said: str, desk: Client
) -> None:
    page = desk.post("/guests/add/", typed(**values))
    assert page.status_code == 200
    assert said in page.text
    assert 'value="Spring and autumn"' in page.text
    assert not GuestTest.objects.exists()


def test_batches_and_recipes_are_sides_and_a_link_names_them(desk: Client) -> None:
    batch, recipe = things.batch(), things.recipe()
    page = desk.get("/guests/add/", {"a": f"batch:{batch.pk}", "b": f"recipe:{recipe.pk}"})
    assert f'value="batch:{batch.pk}" selected' in page.text
    assert f'value="recipe:{recipe.pk}" selected' in page.text
    sent = typed(a_source=f"batch:{batch.pk}", a_label="", b_source=f"recipe:{recipe.pk}")
    desk.post("/guests/add/", sent)
    first, second = GuestTest.objects.get().sides.order_by("letter")
    assert (first.batch, first.label) == (batch, f"batch {batch.number}")
    assert (second.recipe, second.label) == (recipe, "Autumn lot")


def test_a_table_leads_on_with_its_samples(desk: Client) -> None:
    batch = things.batch()
    straight = things.sample({batch: 1_000_000})
    blend = things.sample({batch: 400_000, things.batch(): 600_000}, label="Trial 7")
    page = desk.get("/guests/add/", {"a": f"sample:{straight.pk}", "b": f"sample:{blend.pk}"})
    assert f'value="batch:{batch.pk}" selected' in page.text
    assert 'value="Trial 7"' in page.text
    assert desk.get("/guests/add/", {"a": "sample:x", "b": "sample:999"}).status_code == 200


@pytest.mark.parametrize("kind", ["triangle", "duo-trio", "2-AFC", "3-AFC", "tetrad"])
def test_trays_are_balanced_and_no_code_stands_twice(kind: str, roaster: Person) -> None:
    """ISO 4120:2021, 7.1: every sequence equally often."""
    orders = set_orders(kind)  # type: ignore[arg-type]
    test = planned(roaster, kind=kind, tasters=2 * len(orders), repeats=2, asked_for="body")
    dealt = Counter((each.order, each.reference) for each in queries.sets_of(test))
    assert dealt == {(each.order, each.reference): 4 for each in orders}
    codes = [code for each in queries.sets_of(test) for code in each.places()]
    assert len(codes) == len(set(codes))


def test_more_cups_than_there_are_codes_have_no_code_twice_on_a_tray(roaster: Person) -> None:
    test = planned(roaster, kind="tetrad", tasters=160)
    for each in queries.sets_of(test):
        assert len(set(each.places())) == 4


def test_a_change_deals_anew_until_the_test_is_opened(desk: Client, roaster: Person) -> None:
    test = planned(roaster)
    page = typed(name="Quiet test", kind="tetrad", tasters="9", revision=test.revision)
    desk.post(f"/guests/{test.pk}/change/", page)
    test.refresh_from_db()
    assert (test.kind, test.trays.count()) == ("tetrad", 9)
    stale = desk.post(f"/guests/{test.pk}/change/", page)
    assert "changed by somebody else" in stale.text
    other = opened(roaster, name="Other")
    page = desk.post(
        f"/guests/{other.pk}/change/", typed(name="Other", revision=other.revision, tasters="9")
    )
    assert "is under way, not being set up" in page.text
    assert other.trays.count() == 12


def test_more_guests_get_more_trays_under_new_codes(desk: Client, roaster: Person) -> None:
    test = opened(roaster)
    desk.post(f"/guests/{test.pk}/more/", {"trays": "6"})
    test.refresh_from_db()
    codes = " ".join(CupSet.objects.values_list("codes", flat=True)).split()
    assert (test.tasters, test.trays.count()) == (18, 18)
    assert len(set(codes)) == 54
    page = desk.post(f"/guests/{test.pk}/more/", {"trays": "0"}, follow=True)
    assert "must be at least 1" in page.text


def test_sheets_agree_about_the_cups(desk: Client, roaster: Person) -> None:
    test = planned(roaster, kind="duo-trio")
    assert "The pouring sheet is sealed" in desk.get(f"/guests/{test.pk}/pouring/").text
    key = desk.get(f"/guests/{test.pk}/pouring/?open")
    by_letter = {pour.side.letter: pour for pour in key.context["pours"]}
    for each in queries.sets_of(test):
        for code, cup in zip(each.places(), each.order, strict=True):
            assert code in by_letter[cup].codes
        assert f"tray {each.tray.number}" in by_letter[each.reference].references
    for sheet in ("serving", "slips", "labels"):
        text = desk.get(f"/guests/{test.pk}/{sheet}/").text
        assert all(code in text for each in queries.sets_of(test) for code in each.places())


def test_a_viewer_reads_and_a_taster_does_not(
    roaster: Person, viewer: Person, taster: Person, signed_in: As
) -> None:
    test = planned(roaster)
    assert signed_in(viewer).get(f"/guests/{test.pk}/").status_code == 200
    assert signed_in(viewer).get(f"/guests/{test.pk}/pouring/?open").status_code == 403
    assert signed_in(taster).get(f"/guests/{test.pk}/").status_code == 403


def test_the_list_searches_and_its_queries_do_not_grow(desk: Client, roaster: Person) -> None:
    def add(n: int) -> None:
        for _ in range(n):
            made = planned(roaster, name=f"Row {GuestTest.objects.count()}", tasters=1)
            planning.locked(made.pk)

    add(9)
    with CaptureQueriesContext(connection) as few:
        desk.get("/guests/")
    add(10)
    with CaptureQueriesContext(connection) as many:
        page = desk.get("/guests/")
    assert len(many) <= len(few)
    assert "Row 18" in page.text
    found = desk.get("/guests/", {"q": "south lot"}).text
    assert "Row 3" in found
    assert "Row 3" not in desk.get("/guests/", {"q": "nowhere"}).text


def test_a_test_is_put_away_and_taken_out_again(desk: Client, roaster: Person) -> None:
    test = planned(roaster)
    desk.post(f"/guests/{test.pk}/put-away/")
    assert not desk.get("/guests/").context["page"].tests.rows
    desk.post(f"/guests/{test.pk}/put-away/?back")
    assert desk.get("/guests/").context["page"].tests.rows
