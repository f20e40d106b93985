"""Makers of rows for web tests: each gives one valid thing, and takes what a test cares about."""

from __future__ import annotations

import datetime as dt
import itertools
from decimal import Decimal
from typing import Any

from coupage.units import PPM
from coupage.web.batches.models import Batch, Machine
from coupage.web.blends.models import Blend, Brief, Recipe, RecipeShare, Want
from coupage.web.coffees.models import Approach, ApproachVersion, Lot, StockEntry
from coupage.web.cuppings.models import (
    Attribute,
    Cup,
    Cupping,
    CuppingAttribute,
    CuppingPass,
    Part,
    Protocol,
    Rating,
    Sample,
    Seat,
    Serving,
    Taster,
)
from coupage.web.orders.models import Customer, Order, OrderLine, StandingLine, StandingOrder
from coupage.web.people.models import Person, Role

NOW = dt.datetime(2026, 3, 14, 9, 30, tzinfo=dt.UTC)
PASSWORD = "slow-tin-lantern-7"
_count = itertools.count(1)


def person(role: str = Role.ROASTER, **more: Any) -> Person:
    n = next(_count)
    values = {"sign_in": f"person{n}", "name": f"Person {n}", "password": PASSWORD} | more
    return Person.objects.create_user(role=role, **values)


def lot(received_kg: int = 300, **more: Any) -> Lot:
    values = {"name": f"Lot {next(_count)}", "origin": "Kenya", "price_per_kg": Decimal("7.5")}
    made = Lot.objects.create(**(values | more))
    if received_kg:
        StockEntry.objects.create(
            lot=made, kind="receipt", mass_g=received_kg * 1000, on=NOW.date()
        )
    return made


def approach_version(**more: Any) -> ApproachVersion:
    approach = more.pop("approach", None)
    if approach is None:
        approach = Approach.objects.create(
            lot=more.pop("lot", None) or lot(), name=more.pop("name", "omni")
        )
    number = approach.versions.count() + 1
    return ApproachVersion.objects.create(
        **({"approach": approach, "number": number, "since": NOW.date()} | more)
    )


def machine(**more: Any) -> Machine:
    values = {
        "name": f"Drum {next(_count)}",
        "least_charge_g": 4_000,
        "largest_charge_g": 15_000,
    }
    return Machine.objects.create(**(values | more))


def batch(**more: Any) -> Batch:
    values = {
        "number": f"B{next(_count)}",
        "roasted_at": NOW - dt.timedelta(days=7),
        "green_g": 12_000,
        "roasted_g": 10_200,
    }
    if "approach_version" not in more:
        values["approach_version"] = approach_version()
    return Batch.objects.create(**(values | more))


def sample(parts: dict[Batch, int] | None = None, **more: Any) -> Sample:
    """Make a sealed sample; ``parts`` gives parts per million by batch."""
    parts = parts or {batch(): PPM}
    values = {
        "label": f"Sample {next(_count)}",
        "kind": "batch" if len(parts) == 1 else "trial",
        "made_on": NOW.date(),
    }
    made = Sample.objects.create(**(values | more))
    for of, share in parts.items():
        Part.objects.create(sample=made, batch=of, share_ppm=share)
    Sample.objects.filter(pk=made.pk).update(sealed=True)
    made.refresh_from_db()
    return made


def attribute(name: str = "", **more: Any) -> Attribute:
    name = name or f"attribute {next(_count)}"
    return Attribute.objects.get_or_create(name=name, defaults=more)[0]


def protocol(**more: Any) -> Protocol:
    values = {"name": f"Protocol {next(_count)}", "dose_mg": 11_000, "water_g": 200}
    return Protocol.objects.create(**(values | more))


def taster(**more: Any) -> Taster:
    return Taster.objects.create(**({"name": f"Taster {next(_count)}"} | more))


def cupping(
    *,
    samples: list[Sample] | None = None,
    tasters: list[Taster] | None = None,
    attributes: list[Attribute] | None = None,
    passes: tuple[str, ...] = ("taste",),
    cups: int = 1,
    **more: Any,
) -> Cupping:
    """Make a table with cups, seats and orders, open for ratings unless ``state`` says else."""
    values = {
        "name": f"Table {next(_count)}",
        "held_at": NOW,
        "state": Cupping.State.OPEN,
    }
    if "protocol" not in more:
        values["protocol"] = protocol()
    made = Cupping.objects.create(**(values | more))
    for order, asked in enumerate(attributes or [attribute("body"), attribute("acidity")]):
        CuppingAttribute.objects.create(cupping=made, attribute=asked, order=order)
    for order, name in enumerate(passes):
        CuppingPass.objects.create(cupping=made, order=order, name=name)
    codes = itertools.count(213, 37)
    poured = [
        Cup.objects.create(cupping=made, sample=of, number=number, code=str(next(codes)))
        for of in samples or [sample(), sample()]
        for number in range(1, cups + 1)
    ]
    for order, who in enumerate(tasters or [taster(), taster()]):
        seat = Seat.objects.create(cupping=made, taster=who, order=order)
        for position, cup in enumerate(poured):
            Serving.objects.create(seat=seat, cup=cup, position=position)
    return made


def rate_all(table: Cupping, value: float = 5.0) -> None:
    """Fill every cell of a table with values around ``value``, different by cup and seat."""
    Rating.objects.bulk_create(
        Rating(
            cup=cup,
            seat=seat,
            round=round_,
            attribute=asked.attribute,
            value=Decimal(str(max(0, min(10, value + (i % 3) * 0.5 - (j % 2) * 0.5)))),
            at=NOW,
        )
        for i, cup in enumerate(table.cups.all())
        for j, seat in enumerate(table.seats.all())
        for round_ in table.rounds.all()
        for asked in table.asked.all()
    )


def brief(wants: list[dict[str, Any]] | None = None, **more: Any) -> Brief:
    made = Brief.objects.create(**({"name": f"Brief {next(_count)}", "service": "milk"} | more))
    for want in wants or [
        {"attribute": attribute("body"), "kind": "at least", "low": 5, "high": 7}
    ]:
        Want.objects.create(brief=made, **({"importance": 1} | want))
    return made


def recipe(shares: dict[Approach, int] | None = None, **more: Any) -> Recipe:
    """Make a sealed trial recipe; ``shares`` gives parts per million by approach."""
    shares = shares or {approach_version().approach: PPM}
    blend = more.pop("blend", None) or Blend.objects.create(name=f"Blend {next(_count)}")
    values = {"blend": blend, "version": blend.recipes.count() + 1, "made_at": NOW}
    made = Recipe.objects.create(**values)
    for approach, share in shares.items():
        RecipeShare.objects.create(recipe=made, approach=approach, share_ppm=share)
    Recipe.objects.filter(pk=made.pk).update(sealed=True, **more)
    made.refresh_from_db()
    return made


def customer(**more: Any) -> Customer:
    return Customer.objects.create(**({"name": f"Customer {next(_count)}"} | more))


def order(lines: list[tuple[Blend, int, int]] | None = None, **more: Any) -> Order:
    """Make an open order; ``lines`` gives blends, grams of a bag, and counts."""
    values = {"number": f"{next(_count) + 2000}", "due_on": NOW.date()}
    if "customer" not in more:
        values["customer"] = customer()
    made = Order.objects.create(**(values | more))
    for blend, bag_g, bags in lines or [(recipe().blend, 1_000, 6)]:
        OrderLine.objects.create(order=made, blend=blend, bag_g=bag_g, bags=bags)
    return made


def standing(lines: list[tuple[Blend, int, int]] | None = None, **more: Any) -> StandingOrder:
    values = {"weekday": 2, "since": NOW.date() - dt.timedelta(days=60)}
    if "customer" not in more:
        values["customer"] = customer()
    made = StandingOrder.objects.create(**(values | more))
    for blend, bag_g, bags in lines or [(recipe().blend, 1_000, 6)]:
        StandingLine.objects.create(standing=made, blend=blend, bag_g=bag_g, bags=bags)
    return made
