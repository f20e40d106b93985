"""Two coffees that a table has told apart, and the forms of briefs and recipes as they are sent."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

import pytest
from django.test import Client

from coupage.web.coffees.models import Approach
from coupage.web.cuppings.models import Attribute, Cupping, Rating
from coupage.web.people.models import Person
from tests.web import things
from tests.web.conftest import As

# What the tasters find, by lot: far apart, so that a fit has no choice but to believe it.
TASTE = {"Low Ground": {"body": 7.5, "acidity": 2.5}, "High Field": {"body": 2.5, "acidity": 7.5}}


@dataclass(frozen=True)
class Tasted:
    low: Approach
    high: Approach
    body: Attribute
    acidity: Attribute


@pytest.fixture
def client(roaster: Person, signed_in: As) -> Client:
    return signed_in(roaster)


@pytest.fixture
def coffees(db: None) -> Tasted:
    """Give two coffees with a batch each; nobody has tasted them yet."""
    low, high = (
        things.approach_version(lot=things.lot(name=name, price_per_kg=Decimal(price))).approach
        for name, price in zip(TASTE, ("4.00", "9.00"), strict=True)
    )
    for approach in (low, high):
        things.batch(approach_version=approach.versions.get(), number=f"{approach.lot.name[0]}-1")
    return Tasted(low, high, things.attribute("body"), things.attribute("acidity"))


@pytest.fixture
def tasted(coffees: Tasted) -> Tasted:
    """Put the two coffees on a revealed table: three tasters, three cups each."""
    samples = [
        things.sample({approach.versions.get().batches.get(): 1_000_000})
        for approach in (coffees.low, coffees.high)
    ]
    table = things.cupping(
        samples=samples,
        tasters=[things.taster() for _ in range(3)],
        attributes=[coffees.body, coffees.acidity],
        cups=3,
    )
    Rating.objects.bulk_create(
        Rating(
            cup=cup,
            seat=seat,
            round=table.rounds.get(),
            attribute=asked.attribute,
            value=Decimal(str(TASTE[taste][asked.attribute.name] + ((i + 2 * j) % 3 - 1) / 2)),
            at=things.NOW,
        )
        for i, cup in enumerate(table.cups.all())
        for j, seat in enumerate(table.seats.all())
        for asked in table.asked.all()
        for taste in [cup.sample.parts.get().batch.approach_version.approach.lot.name]
    )
    Cupping.objects.filter(pk=table.pk).update(state="revealed", revealed_at=things.NOW)
    return coffees


def brief_form(wants: dict[Attribute, dict[str, str]] | None = None, **more: str) -> dict[str, str]:
    """Return a brief as its form sends it."""
    sent = {
        "name": "Carries in milk",
        "service": "milk",
        "cost_cap": "",
        "max_components": "4",
        "min_share_ppm": "5",
        "note": "",
    }
    for attribute, fields in (wants or {}).items():
        sent |= {f"want-{attribute.pk}-{name}": value for name, value in fields.items()}
    return sent | more


def recipe_form(shares: list[tuple[Approach | None, str]], **more: str) -> dict[str, str]:
    """Return proportions as their form sends them."""
    sent = {"form-TOTAL_FORMS": str(len(shares)), "form-INITIAL_FORMS": "0", "reason": ""}
    for i, (approach, share) in enumerate(shares):
        sent[f"form-{i}-component"] = str(approach.pk) if approach else ""
        sent[f"form-{i}-share"] = share
    return sent | more
