"""Protocols go out and come in, with their steps in order."""

from __future__ import annotations

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from coupage.web.cuppings.models import Protocol, ProtocolStep
from coupage.web.people.models import Person
from tests.web import things
from tests.web.conftest import As

pytestmark = pytest.mark.django_db

# 8.25 g to 150 mL (SCA Coffee Standards 2018, section 3.1), scaled to a bowl of 220 mL: 12.1 g.
GOOD = (
    "protocol,dose,water,passes,step number,step,at,caution\n"
    'Bowl,12.1,220,"warm, cool",2,Break,240,Hot: mind the steam\n'
    'Bowl,12.1,220,"warm, cool",1,Pour,0,Scald\n'
    "Plain,9.0,164,,,,,\n"
)


@pytest.fixture
def client(roaster: Person, signed_in: As) -> Client:
    return signed_in(roaster)


def bring(client: Client, text: str | bytes, name: str = "protocols.csv") -> str:
    data = text.encode() if isinstance(text, str) else text
    address = "/cuppings/protocols/import/"
    answer = client.post(address, {"table": SimpleUploadedFile(name, data)})
    if answer.context.get("token"):
        client.post(address, {"take": answer.context["token"]})
    return answer.text


def test_a_protocol_comes_in_with_its_steps_in_their_order(client: Client) -> None:
    bring(client, GOOD)
    bowl = Protocol.objects.get(name="Bowl")
    assert (bowl.dose_mg, bowl.water_g, bowl.passes) == (12_100, 220, "warm, cool")
    assert [(s.name, s.at_s) for s in bowl.steps.all()] == [("Pour", 0), ("Break", 240)]
    assert not Protocol.objects.get(name="Plain").steps.exists()


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_what_went_out_comes_in_as_it_was(kind: str, client: Client) -> None:
    bring(client, GOOD)
    before = list(ProtocolStep.objects.values_list("protocol__name", "order", "name", "at_s"))
    data = client.get(f"/cuppings/protocols/export/?file={kind}").content
    Protocol.objects.all().delete()
    bring(client, data, f"protocols.{kind}")
    after = list(ProtocolStep.objects.values_list("protocol__name", "order", "name", "at_s"))
    assert after == before
    assert Protocol.objects.get(name="Bowl").dose_mg == 12_100


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('Bowl,12.1,220,"warm, cool",1', 'Bowl,13.1,220,"warm, cool",1', "differs from row 2"),
        (",1,Pour", ",,Pour", "number the steps from 1"),
        (",1,Pour", ",1,", "name the step"),
        (",1,Pour", ",2,Pour", "row 2"),
        ("Plain,9.0", "Plain,-9.0", "dose"),
        ("Plain,9.0", "Plain,nine", "nine"),
    ],
)
def test_what_is_wrong_is_told_and_nothing_is_written(
    old: str, new: str, says: str, client: Client
) -> None:
    assert old in GOOD
    assert says in bring(client, GOOD.replace(old, new))
    assert not Protocol.objects.exists()


def test_an_import_is_not_for_a_viewer(viewer: Person, signed_in: As) -> None:
    things.protocol()
    assert signed_in(viewer).get("/cuppings/protocols/import/").status_code == 403
