"""The table's one clock: started, paused, put off, turned; the same for whoever comes late."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from coupage.errors import InputError
from coupage.web.cuppings.models import Cupping, ProtocolStep
from coupage.web.live.actions import clock as deeds
from coupage.web.live.models import TableClock
from coupage.web.live.pages.host import preparation
from coupage.web.live.pages.sheet import clock_data
from coupage.web.people.models import Change, Person
from tests.web import things
from tests.web.conftest import As
from tests.web.live.conftest import Phone

pytestmark = pytest.mark.django_db
POUR = things.NOW


def later(seconds: float) -> dt.datetime:
    return POUR + dt.timedelta(seconds=seconds)


@pytest.fixture
def table(table: Cupping) -> Cupping:
    steps = [("Weigh", None), ("Pour", 0), ("Break", 240), ("Taste warm", 780)]
    for order, (name, at_s) in enumerate(steps):
        ProtocolStep.objects.create(protocol=table.protocol, order=order, name=name, at_s=at_s)
    return table


def shown(table: Cupping, seconds: float) -> float:
    elapsed: float = clock_data(table, later(seconds))["elapsed"] / 1000
    return elapsed


def test_the_clock_runs_from_the_pour_and_stands_when_paused(
    table: Cupping, roaster: Person
) -> None:
    assert clock_data(table, POUR)["begun"] is False
    deeds.run_clock(cupping=table, by=roaster, at=POUR)
    assert shown(table, 100) == 100
    deeds.pause_clock(cupping=table, by=roaster, at=later(120))
    assert shown(table, 500) == 120
    deeds.run_clock(cupping=table, by=roaster, at=later(600))
    assert shown(table, 630) == 150


def test_more_time_moves_all_later_steps_of_this_table_only(
    table: Cupping, roaster: Person
) -> None:
    deeds.run_clock(cupping=table, by=roaster, at=POUR)
    deeds.put_off(cupping=table, seconds=30, by=roaster, at=later(100))
    steps = [step["at"] for step in clock_data(table, later(100))["steps"]]
    assert steps == [None, 0, 270, 810]
    deeds.put_off(cupping=table, seconds=60, by=roaster, at=later(300))
    steps = [step["at"] for step in clock_data(table, later(300))["steps"]]
    assert steps == [None, 0, 270, 870]
    assert list(table.protocol.steps.values_list("at_s", flat=True)) == [None, 0, 240, 780]


def test_the_clock_turns_on_and_back_by_steps(table: Cupping, roaster: Person) -> None:
    deeds.run_clock(cupping=table, by=roaster, at=POUR)
    deeds.go_on(cupping=table, by=roaster, at=later(50))
    assert shown(table, 50) == 240
    assert shown(table, 60) == 250
    deeds.go_back(cupping=table, by=roaster, at=later(60))
    assert shown(table, 60) == 240
    # Just begun: back leads to the step before.
    deeds.go_back(cupping=table, by=roaster, at=later(62))
    assert shown(table, 62) == 0
    deeds.go_back(cupping=table, by=roaster, at=later(64))
    assert clock_data(table, later(70))["begun"] is False


def test_what_cannot_be_done_is_said(table: Cupping, roaster: Person) -> None:
    def refused(deed: Any, match: str, **more: Any) -> None:
        with pytest.raises(InputError, match=match):
            deed(cupping=table, by=roaster, at=later(1000), **more)

    refused(deeds.pause_clock, "not started")
    deeds.run_clock(cupping=table, by=roaster, at=POUR)
    refused(deeds.run_clock, "runs already")
    refused(deeds.go_on, "last step")
    refused(deeds.put_off, "last step", seconds=30)
    refused(deeds.put_off, "from 1 to", seconds=0)
    deeds.pause_clock(cupping=table, by=roaster, at=later(10))
    refused(deeds.pause_clock, "stands already")
    Cupping.objects.filter(pk=table.pk).update(state="planned")
    refused(deeds.run_clock, "being set up")


def test_until_the_pour_the_clock_follows_the_protocol(table: Cupping, roaster: Person) -> None:
    deeds.set_clock_up(cupping=table)
    table.protocol.steps.filter(name="Break").update(at_s=300)
    deeds.run_clock(cupping=table, by=roaster, at=POUR)
    assert [step["at"] for step in clock_data(table, POUR)["steps"]] == [None, 0, 300, 780]


def test_host_and_phones_see_one_clock(
    table: Cupping, phone: Phone, roaster: Person, signed_in: As
) -> None:
    host = signed_in(roaster)
    host.post(f"/cuppings/{table.pk}/live/clock/run/")
    ours = host.get(f"/cuppings/{table.pk}/live/pulse/").json()
    theirs = Client().get(f"{phone.path}pulse/?device=aaaaaaaa").json()
    began = {data["now"] - data["clock"]["elapsed"] for data in (ours, theirs)}
    assert max(began) - min(began) <= 1
    assert theirs["clock"]["running"]
    host.post(f"/cuppings/{table.pk}/live/clock/more/", {"seconds": "30"})
    host.post(f"/cuppings/{table.pk}/live/clock/pause/")
    theirs = Client().get(f"{phone.path}pulse/?device=aaaaaaaa").json()
    assert [step["at"] for step in theirs["clock"]["steps"]] == [None, 0, 270, 810]
    assert not theirs["clock"]["running"]
    assert Change.objects.filter(verb="paused the clock").count() == 1


@pytest.mark.parametrize("deed", ["run", "pause", "on", "more", "back", "sideways"])
def test_a_turn_that_cannot_be_is_no_error_page(
    deed: str, table: Cupping, roaster: Person, signed_in: As
) -> None:
    Cupping.objects.filter(pk=table.pk).update(void=True)
    answer = signed_in(roaster).post(f"/cuppings/{table.pk}/live/clock/{deed}/", {"seconds": "x"})
    assert answer.status_code == (404 if deed == "sideways" else 302)
    assert not TableClock.objects.filter(running_since__isnull=False).exists()


def test_the_reminder_adds_up_dose_and_water(table: Cupping) -> None:
    """Ten bowls of 12.1 g and 220 g: 121 g of coffee, 2.2 kg of water and a tenth."""
    protocol = things.protocol(dose_mg=12_100, water_g=220)
    said = dict(preparation(protocol, 10))
    assert said["All 10 cups"] == "121 g of coffee"
    assert said["Water to heat"].startswith("2.4 kg")


def test_the_host_screen_costs_no_more_queries_when_the_table_grows(
    roaster: Person, signed_in: As
) -> None:
    client = signed_in(roaster)

    def cost(tasters: int, page: str) -> int:
        grown = things.cupping(tasters=[things.taster() for _ in range(tasters)])
        things.rate_all(grown)
        with CaptureQueriesContext(connection) as made:
            assert client.get(f"/cuppings/{grown.pk}/live/{page}").status_code == 200
        return len(made)

    for page in ("", "wall/"):
        cost(1, page)
        assert cost(2, page) == cost(12, page)


def test_the_wall_is_blind_until_the_reveal(
    table: Cupping, phone: Phone, viewer: Person, signed_in: As, roaster: Person
) -> None:
    things.rate_all(table)
    client = signed_in(viewer)
    text = client.get(f"/cuppings/{table.pk}/live/wall/").text
    assert "Secret Orchard" not in text
    assert not [cup for cup in table.cups.all() if re.search(rf">\s*{cup.code}\b", text)]
    signed_in(roaster).post(f"/cuppings/{table.pk}/reveal/")
    text = client.get(f"/cuppings/{table.pk}/live/wall/").text
    assert text.index("Secret Orchard") != text.index("Hidden Meadow")
    assert all(cup.code in text for cup in table.cups.all())
