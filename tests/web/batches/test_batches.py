"""Batches: recorded, corrected, judged."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from coupage.web.batches import queries
from coupage.web.batches.models import Batch, BatchVerdict, Machine
from coupage.web.people.models import Change, Person
from tests.web import things
from tests.web.conftest import As

pytestmark = pytest.mark.django_db


def typed(**more: str) -> dict[str, str]:
    version = things.approach_version(colour=Decimal(90), colour_scale="house scale")
    return {
        "number": "R-118",
        "approach_version": str(version.pk),
        "roasted_at": "2026-03-10T08:15",
        "green_g": "12",
        "roasted_g": "10,2",
        "seconds": "10:40",
        "first_crack_s": "8:20",
        "end_temperature_c": "214,5",
        "colour": "91",
        "colour_ground": "on",
    } | more


def test_a_roaster_records_a_batch(roaster: Person, signed_in: As) -> None:
    answer = signed_in(roaster).post("/batches/add/", typed())
    batch = queries.batches().get()
    assert answer.headers["Location"] == f"/batches/{batch.pk}/"
    assert (batch.green_g, batch.roasted_g, batch.seconds) == (12_000, 10_200, 640)
    assert batch.loss_pct == pytest.approx(15)  # type: ignore[attr-defined]
    assert batch.colour_scale == "house scale", "the scale of the approach is taken over"


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"green_g": "-12"}, "green_g"),
        ({"green_g": "twelve"}, "green_g"),
        ({"roasted_g": "12.1"}, "roasted_g"),
        ({"seconds": "10:75"}, "seconds"),
        ({"first_crack_s": "11:00"}, "first_crack_s"),
        ({"end_temperature_c": "2145"}, "end_temperature_c"),
        ({"roasted_at": "2091-01-01T08:00"}, "roasted_at"),
        ({"approach_version": "999999"}, "approach_version"),
        ({"number": ""}, "number"),
    ],
)
def test_bad_input_is_said_beside_the_field_and_nothing_is_written(
    wrong: dict[str, str], field: str, roaster: Person, signed_in: As
) -> None:
    answer = signed_in(roaster).post("/batches/add/", typed(**wrong))
    assert field in answer.context["form"].errors
    assert not Batch.objects.exists()


def test_a_number_is_given_once(roaster: Person, signed_in: As) -> None:
    things.batch(number="R-118")
    answer = signed_in(roaster).post("/batches/add/", typed())
    assert "Another batch has this number" in answer.text
    assert Batch.objects.count() == 1


@pytest.mark.parametrize(
    ("newest", "following"), [("118", "119"), ("R-099", "R-100"), ("K7a", ""), ("26-009", "26-010")]
)
def test_the_next_number_follows_the_roasterys_pattern(
    newest: str, following: str, db: None
) -> None:
    things.batch(number=newest)
    assert queries.next_number() == following


def test_a_viewer_cannot_record_or_judge(viewer: Person, signed_in: As) -> None:
    batch = things.batch()
    client = signed_in(viewer)
    assert client.get(f"/batches/{batch.pk}/").status_code == 200
    assert client.post("/batches/add/", typed()).status_code == 403
    assert client.post(f"/batches/{batch.pk}/verdict/", {"verdict": "release"}).status_code == 403
    assert not BatchVerdict.objects.exists()


def test_a_batch_is_judged_with_its_reason_in_the_history(roaster: Person, signed_in: As) -> None:
    batch = things.batch()
    client = signed_in(roaster)
    client.post(f"/batches/{batch.pk}/verdict/", {"verdict": "hold", "reason": "smells of smoke"})
    batch.refresh_from_db()
    assert batch.verdict == "hold"
    assert "smells of smoke" in client.get(f"/batches/{batch.pk}/").text
    assert Change.objects.get(verb="judged").note == "smells of smoke"


def test_a_hold_is_neither_given_nor_lifted_without_a_reason(
    roaster: Person, signed_in: As
) -> None:
    batch = things.batch()
    client = signed_in(roaster)
    address = f"/batches/{batch.pk}/verdict/"
    assert "Say why the batch is held" in client.post(address, {"verdict": "hold"}).text
    client.post(address, {"verdict": "hold", "reason": "smoke"})
    assert "Say why the hold is lifted" in client.post(address, {"verdict": "release"}).text
    batch.refresh_from_db()
    assert batch.verdict == "hold"
    assert BatchVerdict.objects.count() == 1


def test_measured_numbers_stand_beside_their_aims(roaster: Person, signed_in: As) -> None:
    version = things.approach_version(
        loss_pct=Decimal("14.0"), colour=Decimal(90), colour_scale="house", seconds=640
    )
    batch = things.batch(
        approach_version=version,
        green_g=12_000,
        roasted_g=10_200,
        seconds=650,
        colour=Decimal(93),
        colour_scale="house",
    )
    page = signed_in(roaster).get(f"/batches/{batch.pk}/").context["page"]
    found = {check.name: check for check in page.checks}
    assert (found["Loss"].difference, found["Loss"].on_target) == ("+1.0", False)
    assert (found["Roast time"].difference, found["Roast time"].on_target) == ("+10 s", True)
    assert found["Colour (house)"].on_target is False
    assert found["End temperature"].on_target is None
    assert page.sentence == f"Batch {batch.number} is off target in loss and colour (house)."


def test_a_colour_on_another_scale_is_not_compared(roaster: Person, signed_in: As) -> None:
    version = things.approach_version(colour=Decimal(90), colour_scale="house")
    batch = things.batch(approach_version=version, colour=Decimal(55), colour_scale="other")
    page = signed_in(roaster).get(f"/batches/{batch.pk}/").context["page"]
    assert {c.name: c.on_target for c in page.checks}["Colour (other)"] is None


def test_of_two_people_who_correct_a_batch_the_second_is_told(
    roaster: Person, signed_in: As
) -> None:
    client = signed_in(roaster)
    client.post("/batches/add/", typed())
    batch = Batch.objects.get()
    address = f"/batches/{batch.pk}/change/"
    base = typed(approach_version=str(batch.approach_version_id)) | {"revision": "1"}
    assert client.post(address, base | {"note": "mine"}).status_code == 302
    told = client.post(address, base | {"note": "yours"})
    assert "Somebody else saved this first" in told.text
    assert "yours" in told.text
    batch.refresh_from_db()
    assert batch.note == "mine"
    corrected = Change.objects.filter(verb="corrected").get()
    assert corrected.before == {"note": ""}
    assert corrected.after == {"note": "mine"}


def test_a_void_batch_counts_nowhere_and_comes_back(roaster: Person, signed_in: As) -> None:
    batch, client = things.batch(), signed_in(roaster)
    client.post(f"/batches/{batch.pk}/void/")
    assert not queries.waiting().exists()
    assert batch.number not in [
        b.number for b in client.get("/batches/").context["page"].batches.rows
    ]
    client.post(f"/batches/{batch.pk}/void/?back")
    assert queries.waiting().get() == batch


def test_the_list_costs_no_more_queries_when_it_grows(roaster: Person, signed_in: As) -> None:
    client = signed_in(roaster)

    def cost() -> int:
        with CaptureQueriesContext(connection) as made:
            client.get("/batches/")
        return len(made)

    for _ in range(10):
        things.batch(machine=things.machine(), operator=roaster)
    before = cost()
    for _ in range(10):
        things.batch(machine=things.machine(), operator=roaster)
    assert cost() == before


def test_a_machine_keeps_its_charges_in_order(roaster: Person, signed_in: As) -> None:
    client = signed_in(roaster)
    wrong = {"name": "Small drum", "least_charge_g": "9", "largest_charge_g": "4"}
    assert "must be at least the least charge" in client.post("/batches/machines/add/", wrong).text
    assert not Machine.objects.exists()
    client.post("/batches/machines/add/", wrong | {"least_charge_g": "2,5"})
    assert Machine.objects.get().least_charge_g == 2_500


MACHINE = {"name": "Small drum", "site": "Yard", "least_charge_g": "1,5", "largest_charge_g": "4"}
MACHINE |= {"minutes": "18", "change_minutes": "4"}


def test_a_machine_is_changed_and_put_away_with_a_way_back(roaster: Person, signed_in: As) -> None:
    client = signed_in(roaster)
    client.post("/batches/machines/add/", MACHINE)
    machine = Machine.objects.get()
    address = f"/batches/machines/{machine.pk}/"
    client.post(address, MACHINE | {"largest_charge_g": "5", "revision": "1"})
    machine.refresh_from_db()
    assert machine.largest_charge_g == 5_000
    change = Change.objects.get(kind="batches.machine", verb="changed")
    assert (change.before, change.after) == (
        {"largest_charge_g": 4_000},
        {"largest_charge_g": 5_000},
    )
    answer = client.post(f"{address}put-away/", follow=True)
    assert f'action="{address}put-away/?back"' in answer.text
    assert machine not in queries.machines()
    client.post(f"{address}put-away/?back")
    assert machine in queries.machines()


def test_a_batch_keeps_a_machine_that_was_put_away_since(roaster: Person, signed_in: As) -> None:
    machine = things.machine()
    batch = things.batch(machine=machine)
    Machine.objects.update(archived=True)
    form = signed_in(roaster).get(f"/batches/{batch.pk}/change/").context["form"]
    assert machine in form.fields["machine"].queryset
    assert (
        machine
        not in signed_in(roaster).get("/batches/add/").context["form"].fields["machine"].queryset
    )


def test_a_viewer_reads_machines_and_changes_none(viewer: Person, signed_in: As) -> None:
    machine, client = things.machine(), signed_in(viewer)
    page = client.get("/batches/machines/")
    assert machine.name in page.text
    assert "Put away" not in page.text
    for address in ("add", str(machine.pk), f"{machine.pk}/put-away"):
        assert client.post(f"/batches/machines/{address}/", MACHINE).status_code == 403
    assert Client().get("/batches/machines/").status_code == 302
    assert Machine.objects.get() == machine
    assert not Machine.objects.get().archived


def test_both_versions_of_a_batch_are_shown_in_words(roaster: Person, signed_in: As) -> None:
    """Names, not keys; masses in the person's unit; and only what really differs."""
    client = signed_in(roaster)
    first, second = things.machine(), things.machine()
    client.post("/batches/add/", typed())
    batch = Batch.objects.get()
    Person.objects.update(mass_unit="lb")
    address = f"/batches/{batch.pk}/change/"
    base = typed(approach_version=str(batch.approach_version_id), green_g="26.46") | {
        "revision": "1",
        "roasted_g": "22.49",
        "colour_scale": "house scale",
    }
    client.post(address, base | {"machine": str(first.pk)})
    told = client.post(address, base | {"machine": str(second.pk), "green_g": "28"})
    assert told.context["differing"] == [
        ("Machine", second.name, first.name),
        ("Green in", "28", "26.46"),
    ]


def test_pounds_and_the_persons_clock_are_taken_and_shown(roaster: Person, signed_in: As) -> None:
    Person.objects.update(mass_unit="lb", time_zone="America/New_York")
    client = signed_in(roaster)
    client.post("/batches/add/", typed(green_g="26,5", roasted_g="22.4"))
    batch = Batch.objects.get()
    # NIST Handbook 44: 26.5 lb are 12 020 g. New York is four hours behind in March.
    assert (batch.green_g, batch.roasted_g) == (12_020, 10_160)
    assert batch.roasted_at == dt.datetime(2026, 3, 10, 12, 15, tzinfo=dt.UTC)
    page = client.get(f"/batches/{batch.pk}/").text
    assert "26.50 lb" in page
    listed = client.get("/batches/").text
    assert "26.50 lb" in listed
    assert "10 Mar 2026, 08:15" in listed
    form = client.get(f"/batches/{batch.pk}/change/").text
    assert 'value="2026-03-10T08:15"' in form
    assert 'value="26.5"' in form


def test_a_void_batch_offers_the_way_back_and_is_not_voided_twice(
    roaster: Person, signed_in: As
) -> None:
    batch, client = things.batch(), signed_in(roaster)
    answer = client.post(f"/batches/{batch.pk}/void/", follow=True)
    assert f'action="/batches/{batch.pk}/void/?back"' in answer.text
    again = client.post(f"/batches/{batch.pk}/void/", follow=True)
    assert f"Batch {batch.number} is void already." in again.text
    assert Change.objects.filter(verb="voided").count() == 1


def test_a_batch_recorded_twice_by_a_double_press_is_kept_once(
    roaster: Person, signed_in: As
) -> None:
    client, sent = signed_in(roaster), typed()
    assert client.post("/batches/add/", sent).status_code == 302
    assert "Another batch has this number" in client.post("/batches/add/", sent).text
    assert Batch.objects.count() == 1


def test_of_two_people_who_change_a_machine_the_second_is_told(
    roaster: Person, signed_in: As
) -> None:
    client = signed_in(roaster)
    client.post("/batches/machines/add/", MACHINE)
    machine = Machine.objects.get()
    address = f"/batches/machines/{machine.pk}/"
    client.post(address, MACHINE | {"site": "Barn", "revision": "1"})
    told = client.post(address, MACHINE | {"site": "Shed", "revision": "1"})
    assert told.context["differing"] == [("Site", "Shed", "Barn")]
    assert 'value="Shed"' in told.text, "what was typed is kept"
    machine.refresh_from_db()
    assert machine.site == "Barn"
    client.post(address, MACHINE | {"site": "Shed", "revision": "2"})
    machine.refresh_from_db()
    assert machine.site == "Shed"


@pytest.mark.parametrize(
    ("seconds", "proposed"), [(650, "release"), (665, "look again"), (675, "hold")]
)
def test_numbers_propose_a_verdict_by_how_far_they_are_off(
    seconds: int, proposed: str, roaster: Person, signed_in: As
) -> None:
    """Aim 10:40 within 15 s: 10 s off, 25 s (under twice), 35 s (over twice)."""
    batch = things.batch(approach_version=things.approach_version(seconds=640), seconds=seconds)
    page = signed_in(roaster).get(f"/batches/{batch.pk}/").context["page"]
    assert page.proposal.verdict == proposed
    assert [r.about for r in page.proposal.reasons if r.verdict] == ["roast time"]


def test_a_proposal_is_overruled_with_a_reason_only(roaster: Person, signed_in: As) -> None:
    batch = things.batch(approach_version=things.approach_version(seconds=640), seconds=675)
    client, address = signed_in(roaster), f"/batches/{batch.pk}/verdict/"
    told = client.post(address, {"verdict": "release"})
    assert "Hold was proposed; say why you decide otherwise" in told.text
    assert not BatchVerdict.objects.exists()
    client.post(address, {"verdict": "release", "reason": "the clock stood still"})
    row = BatchVerdict.objects.get()
    assert (row.verdict, row.proposed, row.by) == ("release", "hold", roaster)
    assert Change.objects.get(verb="judged").after == {"verdict": "release", "proposed": "hold"}


def test_the_database_keeps_no_overruling_without_a_reason(roaster: Person) -> None:
    with pytest.raises(IntegrityError):
        BatchVerdict.objects.create(
            batch=things.batch(), verdict="release", proposed="hold", by=roaster, at=things.NOW
        )
