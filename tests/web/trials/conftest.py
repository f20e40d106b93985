"""A small roastery with three coffees to blend, and what a roaster types to plan a trial."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client

from coupage.web.coffees.models import Approach
from coupage.web.cuppings.models import Attribute, Protocol, Taster
from coupage.web.people.models import Person
from coupage.web.trials import design
from coupage.web.trials.models import Plan
from tests.web import things
from tests.web.conftest import As


@pytest.fixture(autouse=True)
def short_search(monkeypatch: pytest.MonkeyPatch) -> None:
    """Search from two starts only; one test asks for the full search."""
    monkeypatch.setattr(design, "LONGEST_S", 0.0)


@pytest.fixture
def coffees(roaster: Person) -> list[Approach]:
    """One washed, one natural, one honey coffee, each with a batch to weigh from."""
    found = []
    for process in ("washed", "natural", "honey"):
        version = things.approach_version(lot=things.lot(process=process))
        things.batch(approach_version=version)
        found.append(version.approach)
    return found


@pytest.fixture
def table(roaster: Person) -> tuple[Protocol, list[Attribute], list[Taster]]:
    return (
        things.protocol(passes="hot, cool"),
        [things.attribute("body"), things.attribute("acidity")],
        [things.taster(), things.taster()],
    )


@pytest.fixture
def desk(roaster: Person, signed_in: As) -> Client:
    return signed_in(roaster)


def typed(coffees: list[Approach], **more: Any) -> dict[str, Any]:
    """Return the screen as sent; ``low`` and ``high`` are lists of per cents by coffee."""
    low, high = more.pop("low", {}), more.pop("high", {})
    values: dict[str, Any] = {
        "name": "Spring trial",
        "purpose": "I",
        "brief": "",
        "order": "quadratic",
        "samples": "7",
        "repeats": "1",
        "reference": "",
        "tasters": "3",
        "cups": "1",
        "step_ppm": "50000",
        "keep": "on",
        "one_approach": "on",
        "difference": "1",
        "note": "",
    }
    for i, coffee in enumerate(coffees):
        values[f"coffee-{coffee.pk}-picked"] = "on"
        values[f"coffee-{coffee.pk}-low"] = low.get(i, "")
        values[f"coffee-{coffee.pk}-high"] = high.get(i, "")
    return values | more


@pytest.fixture
def plan(desk: Client, coffees: list[Approach]) -> Plan:
    """A plan with a limit on one coffee and one on washed coffees together."""
    group = {"group-0-rule": "process:washed", "group-0-low": "30", "group-0-high": ""}
    answer = desk.post("/trials/add/", typed(coffees, high={1: "40"}) | group)
    assert answer.status_code == 302, answer.context["screen"].form.errors
    return Plan.objects.get()
