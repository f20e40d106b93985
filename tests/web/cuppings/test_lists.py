"""What every table draws on: samples, attributes, protocols, tasters."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from coupage.web.cuppings.models import Attribute, Protocol, Sample, Taster
from coupage.web.people.models import Change, Person
from tests.web import things
from tests.web.conftest import As

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(roaster: Person, signed_in: As) -> Client:
    return signed_in(roaster)


def attribute(**more: str) -> dict[str, str]:
    return {
        "name": "acidity",
        "kind": "intensity",
        "low_word": "flat",
        "high_word": "very bright",
        "tolerance": "0,8",
        "order": "10",
        "standard": "on",
    } | more


def test_an_attribute_is_added_and_changed(client: Client) -> None:
    client.post("/cuppings/attributes/add/", attribute())
    made = Attribute.objects.get()
    assert (str(made.tolerance), made.standard) == ("0.8", True)
    client.post(f"/cuppings/attributes/{made.pk}/change/", attribute(tolerance="1.5"))
    change = Change.objects.get(verb="changed")
    assert (change.before, change.after) == ({"tolerance": "0.8"}, {"tolerance": "1.5"})


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"name": "Body"}, "name"),
        ({"name": "taster"}, "name"),
        ({"name": "Notes"}, "name"),
        ({"name": ""}, "name"),
        ({"tolerance": "0"}, "tolerance"),
        ({"tolerance": "5.5"}, "tolerance"),
        ({"order": "first"}, "order"),
    ],
)
def test_a_bad_attribute_is_said_beside_the_field(
    wrong: dict[str, str], field: str, client: Client
) -> None:
    things.attribute("body")
    answer = client.post("/cuppings/attributes/add/", attribute(**wrong))
    assert field in answer.context["form"].errors
    assert Attribute.objects.count() == 1


STEPS = {"step-TOTAL_FORMS": "3", "step-INITIAL_FORMS": "0"}


def protocol(**more: str) -> dict[str, str]:
    return (
        STEPS
        | {
            "name": "Small bowl",
            "dose_mg": "8,25",
            "water_g": "150",
            "water_c": "93",
            "cups_per_sample": "5",
            "passes": "warm, cool",
            "source": "SCA Coffee Standards 2018",
            "step-0-name": "Pour",
            "step-0-at_s": "0",
            "step-0-caution": "Water near boiling scalds.",
            "step-1-name": "Break",
            "step-1-at_s": "240",
        }
        | more
    )


def test_a_protocol_is_written_with_its_steps(client: Client) -> None:
    client.post("/cuppings/protocols/add/", protocol())
    made = Protocol.objects.get()
    assert (made.dose_mg, made.water_g, made.cups_per_sample) == (8250, 150, 5)
    assert [(s.order, s.name, s.at_s) for s in made.steps.all()] == [
        (1, "Pour", 0),
        (2, "Break", 240),
    ]
    form = client.get(f"/cuppings/protocols/{made.pk}/change/").context["form"]
    assert form["dose_mg"].value() == "8.25"
    client.post(f"/cuppings/protocols/{made.pk}/change/", protocol(**{"step-0-name": "Bloom"}))
    assert [s.name for s in made.steps.all()] == ["Bloom", "Break"]


def test_a_new_protocol_begins_from_the_published_ratio(client: Client) -> None:
    """8.25 g to 150 mL at 93 °C: SCA Coffee Standards 2018, 3.1 and 3.3."""
    form = client.get("/cuppings/protocols/add/").context["form"]
    start = [form[name].value() for name in ("dose_mg", "water_g", "water_c")]
    assert [float(value) for value in start] == [8.25, 150, 93]


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"dose_mg": "0"}, "dose_mg"),
        ({"water_c": "101"}, "water_c"),
        ({"passes": " , "}, "passes"),
        ({"cups_per_sample": "11"}, "cups_per_sample"),
    ],
)
def test_a_bad_protocol_is_said_beside_the_field(
    wrong: dict[str, str], field: str, client: Client
) -> None:
    answer = client.post("/cuppings/protocols/add/", protocol(**wrong))
    assert field in answer.context["form"].errors
    assert not Protocol.objects.exists()


def test_a_step_without_a_name_is_pointed_at(client: Client) -> None:
    answer = client.post("/cuppings/protocols/add/", protocol(**{"step-1-name": ""}))
    assert "Name the step" in answer.text
    assert not Protocol.objects.exists()


def test_a_taster_is_tied_to_one_account(client: Client, taster: Person) -> None:
    client.post("/cuppings/tasters/add/", {"name": "Noor", "person": str(taster.pk)})
    assert Taster.objects.get().person == taster
    answer = client.post("/cuppings/tasters/add/", {"name": "Other", "person": str(taster.pk)})
    assert "person" in answer.context["form"].errors
    assert Taster.objects.count() == 1


@pytest.mark.parametrize("kind", ["samples", "attributes", "protocols", "tasters"])
def test_things_are_put_away_and_taken_out_again(kind: str, client: Client) -> None:
    made = {
        "samples": things.sample,
        "attributes": things.attribute,
        "protocols": things.protocol,
        "tasters": things.taster,
    }[kind]()
    address = f"/cuppings/{kind}/{made.pk}/put-away/"
    client.post(address)
    made.refresh_from_db()
    assert made.archived
    shown = client.get(f"/cuppings/{kind}/").context[kind]
    assert shown.found == 0
    client.post(f"{address}?back")
    made.refresh_from_db()
    assert not made.archived
    assert Change.objects.filter(verb="took out again").count() == 1


def test_a_viewer_reads_lists_and_changes_nothing(viewer: Person, signed_in: As) -> None:
    client, made = signed_in(viewer), things.attribute("body")
    assert client.get("/cuppings/attributes/").status_code == 200
    assert client.post("/cuppings/attributes/add/", attribute()).status_code == 403
    assert client.post(f"/cuppings/attributes/{made.pk}/put-away/").status_code == 403
    assert Attribute.objects.count() == 1
    assert Client().get("/cuppings/samples/").status_code == 302


@pytest.mark.parametrize("kind", ["samples", "attributes", "protocols", "tasters"])
def test_the_lists_cost_no_more_queries_when_they_grow(kind: str, client: Client) -> None:
    def cost() -> int:
        with CaptureQueriesContext(connection) as made:
            client.get(f"/cuppings/{kind}/")
        return len(made)

    def grow() -> None:
        for _ in range(10):
            things.sample({things.batch(): 400_000, things.batch(): 600_000})
            things.attribute()
            protocol = things.protocol()
            protocol.steps.create(order=1, name="Pour", at_s=0)
            things.taster(person=things.person("taster"))

    grow()
    before = cost()
    grow()
    assert cost() == before
    assert Sample.objects.count() == 20
