"""Two coffees that a table has told apart, and the forms of briefs and recipes as they are sent."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

import pytest
from django.test import Client

from coupage.web.blends.models import Blend, Brief, Recipe
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


@dataclass(frozen=True)
class Four:
    """Four coffees that a table has tasted, a brief for them, and a blend in service."""

    approaches: tuple[Approach, ...]
    brief: Brief
    recipe: Recipe
    path: str


TASTES = {
    "First": {"body": 7.0, "acidity": 3.0, "sweetness": 5.5},
    "Second": {"body": 4.0, "acidity": 7.0, "sweetness": 6.0},
    "Third": {"body": 5.5, "acidity": 4.5, "sweetness": 4.0},
    "Fourth": {"body": 3.0, "acidity": 5.5, "sweetness": 7.0},
}


@pytest.fixture
def four(db: None) -> Four:
    """Taste four coffees and two blends of them, and put a recipe of three into service."""
    approaches = tuple(
        things.approach_version(
            lot=things.lot(name=name, price_per_kg=Decimal(6 + n)), name="omni"
        ).approach
        for n, name in enumerate(TASTES)
    )
    batches = [
        things.batch(approach_version=a.versions.get(), number=f"F-{n}")
        for n, a in enumerate(approaches)
    ]
    attributes = [things.attribute(name) for name in ("body", "acidity", "sweetness")]
    mixed = [{0: 600_000, 1: 400_000}, {0: 400_000, 1: 350_000, 2: 250_000}]
    made = [{n: 1_000_000} for n in range(4)] + mixed
    samples = [things.sample({batches[n]: ppm for n, ppm in parts.items()}) for parts in made]
    table = things.cupping(
        samples=samples, tasters=[things.taster() for _ in range(3)], attributes=attributes, cups=2
    )
    taste_of = dict(zip((s.pk for s in samples), made, strict=True))
    tastes = list(TASTES.values())
    Rating.objects.bulk_create(
        Rating(
            cup=cup,
            seat=seat,
            round=table.rounds.get(),
            attribute=attribute,
            value=Decimal(round(2 * (mean + ((i + 2 * j + k) % 3 - 1) / 2))) / 2,
            at=things.NOW,
        )
        for i, cup in enumerate(table.cups.all())
        for j, seat in enumerate(table.seats.all())
        for k, attribute in enumerate(attributes)
        for mean in [
            sum(ppm * tastes[n][attribute.name] for n, ppm in taste_of[cup.sample_id].items()) / 1e6
        ]
    )
    Cupping.objects.filter(pk=table.pk).update(state="revealed", revealed_at=things.NOW)
    brief = things.brief(
        [
            {"attribute": attributes[0], "kind": "at least", "low": 5, "must": True},
            {"attribute": attributes[1], "kind": "between", "low": 4, "high": 6, "must": True},
            {"attribute": attributes[2], "kind": "at least", "low": 5, "high": 7},
        ],
        name="Between",
        cost_cap=Decimal("8.50"),
    )
    blend = Blend.objects.create(name="Ferry", brief=brief)
    shares = dict(zip(approaches, (450_000, 350_000, 200_000), strict=False))
    recipe = things.recipe(
        shares,
        blend=blend,
        state="in service",
        approved_by=things.person(),
        approved_at=things.NOW,
        in_service_from=things.NOW.date(),
    )
    coffees = "&".join(f"coffees={a.pk}" for a in approaches)
    return Four(approaches, brief, recipe, f"/briefs/{brief.pk}/triangle/?{coffees}")
