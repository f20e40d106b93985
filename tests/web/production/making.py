"""Makers of runs, bags and dispatches for tests: short ways through the real actions."""

from __future__ import annotations

import datetime as dt
import itertools
from typing import Any

from coupage.web.batches.models import Batch
from coupage.web.blends.models import Blend, Recipe
from coupage.web.orders.models import Customer
from coupage.web.people.models import Person
from coupage.web.production import actions
from coupage.web.production.lifts import Draw
from coupage.web.production.models import Dispatch, Pack, Packed, Run
from tests.web import things

TODAY = things.NOW.date()
_count = itertools.count(1)


def customer(**more: Any) -> Customer:
    return Customer.objects.create(**({"name": f"Counter {next(_count)}"} | more))


def pack(blend: Blend, bag_g: int = 250, **more: Any) -> Pack:
    return Pack.objects.get_or_create(blend=blend, bag_g=bag_g, defaults=more)[0]


def recipe(*shares: int) -> Recipe:
    """A recipe of as many coffees as shares in per cent are given."""
    return things.recipe(
        {things.approach_version().approach: share * 10_000 for share in shares or (60, 40)}
    )


def batch_of(made: Recipe, place: int = 0, **more: Any) -> Batch:
    """A batch of one coffee of a recipe."""
    approach = list(made.shares.all())[place].approach
    return things.batch(approach_version=approach.versions.get(), **more)


def run(
    sources: dict[Batch | Run, int],
    *,
    of: Recipe | None = None,
    by: Person | None = None,
    on: dt.date = TODAY,
    weigh: bool = True,
    lifts: int = 1,
) -> Run:
    """Begin a run that takes grams from batches and rests, and weigh it as planned."""
    by = by or things.person()
    draws = [
        Draw(lift, source.pk, source, grams // lifts)
        for lift in range(1, lifts + 1)
        for source, grams in sources.items()
    ]
    made = actions.begin_run(
        recipe=of or things.recipe(),
        draws=draws,
        lifts=lifts,
        step_g=1,
        on=on,
        by=by,
        at=things.NOW,
    )
    for lift in range(1, lifts + 1) if weigh else ():
        weights = {part: part.per_lift_g[lift - 1] for part in made.parts.all()}
        actions.weigh_lift(run=made, lift=lift, weights=weights, on=on, by=by, at=things.NOW)
    return made


def packed(of: Run, bags: int, bag_g: int = 250, by: Person | None = None) -> Packed:
    return actions.pack_bags(
        run=of,
        pack=pack(of.recipe.blend, bag_g),
        bags=bags,
        on=of.on,
        by=by or things.person(),
        at=things.NOW,
    )


def sent(to: Customer, bags: dict[Packed, int], by: Person | None = None, **more: Any) -> Dispatch:
    return actions.send_bags(
        customer=to, bags=bags, on=TODAY, by=by or things.person(), at=things.NOW, **more
    )
