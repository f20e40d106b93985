"""The list at the machine: charge and drop in two taps, the loss at once, a label for the jar."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from coupage.errors import InputError
from coupage.web.batches import machine_actions, queries
from coupage.web.batches.models import Batch, Machine, PlannedBatch
from coupage.web.coffees.models import ApproachVersion
from coupage.web.people.models import Change, Person
from tests.web import things
from tests.web.conftest import As

pytestmark = pytest.mark.django_db


@pytest.fixture
def machine() -> Machine:
    return things.machine(name="Red drum")


@pytest.fixture
def version() -> ApproachVersion:
    return things.approach_version(charge_g=9_000, seconds=600, colour_scale="house")


def plan(machine: Machine, version: ApproachVersion, by: Person) -> PlannedBatch:
    return machine_actions.plan_batch(
        approach=version.approach,
        machine=machine,
        on=timezone.localdate(),
        green_g=9_000,
        by=by,
        at=timezone.now(),
    )


def test_a_batch_is_charged_and_dropped_in_two_taps_and_its_loss_is_said_at_once(
    roaster: Person, signed_in: As, machine: Machine, version: ApproachVersion
) -> None:
    things.batch(number="K-007", roasted_at=timezone.now() - dt.timedelta(days=1))
    planned, client = plan(machine, version, roaster), signed_in(roaster)
    client.post(f"/batches/planned/{planned.pk}/charge/")
    batch = Batch.objects.get(number="K-008")
    assert (batch.green_g, batch.machine, batch.operator) == (9_000, machine, roaster)
    assert batch.approach_version == version
    Batch.objects.filter(pk=batch.pk).update(roasted_at=timezone.now() - dt.timedelta(seconds=602))
    client.post(f"/batches/{batch.pk}/drop/")
    batch.refresh_from_db()
    assert batch.seconds in {602, 603, 604}
    page = client.get(f"/batches/at/{machine.pk}/").context["page"]
    assert [row.batch for row in page.weigh] == [batch]
    assert page.running == page.planned == ()
    sent = {f"b{batch.pk}-roasted_g": "7,65", f"b{batch.pk}-colour": "88"}
    said = client.post(f"/batches/{batch.pk}/weigh/", sent, follow=True)
    assert "Batch K-008 is weighed: loss 15.0 %." in said.text
    batch.refresh_from_db()
    assert (batch.roasted_g, batch.colour, batch.colour_scale) == (7_650, Decimal(88), "house")
    verbs = Change.objects.filter(kind="batches.batch", key=batch.pk).values_list("verb", flat=True)
    assert list(verbs) == ["weighed", "dropped", "recorded"]


def test_of_two_taps_on_charge_one_counts(
    roaster: Person, signed_in: As, machine: Machine, version: ApproachVersion
) -> None:
    planned, client = plan(machine, version, roaster), signed_in(roaster)
    client.post(f"/batches/planned/{planned.pk}/charge/")
    told = client.post(f"/batches/planned/{planned.pk}/charge/", follow=True)
    assert "This one is in the drum already, as 1." in told.text
    assert Batch.objects.count() == 1


def test_charge_and_drop_are_taken_back(
    roaster: Person, signed_in: As, machine: Machine, version: ApproachVersion
) -> None:
    planned, client = plan(machine, version, roaster), signed_in(roaster)
    said = client.post(f"/batches/planned/{planned.pk}/charge/", follow=True)
    batch = Batch.objects.get()
    assert f'action="/batches/{batch.pk}/uncharge/"' in said.text
    Batch.objects.update(roasted_at=timezone.now() - dt.timedelta(seconds=60))
    client.post(f"/batches/{batch.pk}/drop/")
    client.post(f"/batches/{batch.pk}/drop/?back")
    batch.refresh_from_db()
    assert batch.seconds is None
    client.post(f"/batches/{batch.pk}/uncharge/")
    batch.refresh_from_db()
    planned.refresh_from_db()
    assert batch.void
    assert planned.batch is None
    page = client.get(f"/batches/at/{machine.pk}/").context["page"]
    assert list(page.planned) == [planned]


def test_a_batch_dropped_cannot_be_taken_back_to_the_list(
    roaster: Person, machine: Machine, version: ApproachVersion
) -> None:
    at = timezone.now()
    batch = machine_actions.charge(planned=plan(machine, version, roaster), by=roaster, at=at)
    later = at + dt.timedelta(seconds=500)
    machine_actions.mark_first_crack(batch=batch, by=roaster, at=later)
    machine_actions.drop(batch=batch, by=roaster, at=later + dt.timedelta(seconds=90))
    batch.refresh_from_db()
    assert (batch.first_crack_s, batch.seconds) == (500, 590)
    with pytest.raises(InputError, match="no longer in the drum"):
        machine_actions.take_back_charge(batch=batch, by=roaster, at=later)
    with pytest.raises(InputError, match="is dropped already"):
        machine_actions.drop(batch=batch, by=roaster, at=later)
    batch.refresh_from_db()
    assert not batch.void


def test_a_drop_hours_later_is_refused_and_leaves_the_drum(
    roaster: Person, machine: Machine, version: ApproachVersion
) -> None:
    at = timezone.now() - dt.timedelta(hours=3)
    batch = machine_actions.charge(planned=plan(machine, version, roaster), by=roaster, at=at)
    with pytest.raises(InputError, match="180 minutes ago"):
        machine_actions.drop(batch=batch, by=roaster, at=timezone.now())
    assert not queries.in_the_drum(machine, timezone.now())
    assert queries.to_weigh(machine, timezone.now()).get() == batch


@pytest.mark.parametrize(("typed", "said"), [("9.1", "More cannot come out"), ("x", "number")])
def test_a_wrong_mass_is_said_beside_it_and_what_was_typed_stays(
    typed: str,
    said: str,
    roaster: Person,
    signed_in: As,
    machine: Machine,
    version: ApproachVersion,
) -> None:
    batch = things.batch(
        approach_version=version,
        machine=machine,
        green_g=9_000,
        roasted_g=None,
        seconds=600,
        roasted_at=timezone.now(),
    )
    sent = {f"b{batch.pk}-roasted_g": typed, f"b{batch.pk}-end_temperature_c": "212,5"}
    answer = signed_in(roaster).post(f"/batches/{batch.pk}/weigh/", sent)
    assert answer.status_code == 422
    assert said in answer.text
    assert 'value="212,5"' in answer.text
    batch.refresh_from_db()
    assert batch.roasted_g is None


def test_another_batch_is_charged_at_once_or_put_on_the_list(
    roaster: Person, signed_in: As, machine: Machine, version: ApproachVersion
) -> None:
    client, address = signed_in(roaster), f"/batches/at/{machine.pk}/plan/"
    client.post(address, {"plan-version": version.pk, "plan-green_g": ""})
    assert PlannedBatch.objects.get().green_g == 9_000, "the charge of the approach"
    client.post(address, {"plan-version": version.pk, "plan-green_g": "8", "charge": "yes"})
    assert Batch.objects.get().green_g == 8_000
    off = PlannedBatch.objects.get(batch=None)
    client.post(f"/batches/planned/{off.pk}/off/")
    assert not queries.planned(machine, timezone.localdate())
    client.post(f"/batches/planned/{off.pk}/off/?back")
    assert queries.planned(machine, timezone.localdate()).get() == off


def test_an_approach_without_a_charge_asks_for_one(
    roaster: Person, signed_in: As, machine: Machine
) -> None:
    bare = things.approach_version(charge_g=None)
    told = signed_in(roaster).post(f"/batches/at/{machine.pk}/plan/", {"plan-version": bare.pk})
    assert "The approach names no charge; type one." in told.text
    assert not PlannedBatch.objects.exists()


def test_the_way_to_the_machine_is_remembered(roaster: Person, signed_in: As) -> None:
    first, second = things.machine(), things.machine()
    client = signed_in(roaster)
    assert client.get("/batches/at/").status_code == 200
    client.get(f"/batches/at/{second.pk}/")
    assert client.get("/batches/at/").headers["Location"] == f"/batches/at/{second.pk}/"
    assert first.name in client.get("/batches/at/?choose").text


def test_a_jar_label_names_the_batch_and_leads_to_it(viewer: Person, signed_in: As) -> None:
    batch = things.batch(
        number="K-9", colour=Decimal(88), colour_scale="house", colour_ground=False
    )
    client = signed_in(viewer)
    page = client.get(f"/batches/{batch.pk}/label/")
    assert "K-9" in page.text
    assert "88.0 house, whole" in page.text
    assert "15.0 %" in page.text
    assert "<svg" in page.context["labels"][0].code
    assert "K-9" in client.get(f"/batches/labels/?on={batch.roasted_at:%Y-%m-%d}").text
    assert "No batches that day" in client.get("/batches/labels/?on=2020-01-01").text


def test_a_viewer_presses_nothing(
    viewer: Person, roaster: Person, signed_in: As, machine: Machine, version: ApproachVersion
) -> None:
    planned, client = plan(machine, version, roaster), signed_in(viewer)
    assert client.get(f"/batches/at/{machine.pk}/").status_code == 403
    assert client.post(f"/batches/planned/{planned.pk}/charge/").status_code == 403
    assert Client().post(f"/batches/planned/{planned.pk}/charge/").status_code == 302
    assert not Batch.objects.exists()


def test_the_list_costs_no_more_queries_when_it_grows(
    roaster: Person, signed_in: As, machine: Machine, version: ApproachVersion
) -> None:
    client = signed_in(roaster)

    def grow() -> int:
        for _ in range(5):
            plan(machine, things.approach_version(charge_g=5_000), roaster)
            for out in (None, 8_000):
                things.batch(
                    approach_version=things.approach_version(),
                    machine=machine,
                    roasted_g=out,
                    seconds=600,
                    roasted_at=timezone.now(),
                )
        with CaptureQueriesContext(connection) as made:
            client.get(f"/batches/at/{machine.pk}/")
        return len(made)

    assert grow() == grow()


@pytest.mark.parametrize(
    ("newest", "numbers"),
    [
        (["K7a"], ["260314-1", "260314-2"]),
        (["R-9"], ["R-10", "R-11"]),
    ],
)
def test_a_charge_never_waits_for_a_number(
    newest: list[str],
    numbers: list[str],
    roaster: Person,
    machine: Machine,
    version: ApproachVersion,
) -> None:
    """By count, or by the day where the pattern tells nothing (14 March)."""
    for i, number in enumerate(newest):
        things.batch(number=number, roasted_at=things.NOW - dt.timedelta(days=9 - i))
    made = [
        machine_actions.charge(planned=plan(machine, version, roaster), by=roaster, at=at).number
        for at in (things.NOW, things.NOW + dt.timedelta(minutes=20))
    ]
    assert made == numbers
