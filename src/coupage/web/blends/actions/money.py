"""Writes about prices, exchange rates and the house's own costs; all are only ever added to."""

from __future__ import annotations

import datetime as dt

from django.db import transaction

from coupage.web.blends.models import ExchangeRate, GreenPrice, HouseCosts
from coupage.web.people import history
from coupage.web.people.models import Person

__all__ = ["add_green_price", "add_house_costs", "add_rate"]


@transaction.atomic
def add_rate(*, rate: ExchangeRate, by: Person, at: dt.datetime) -> ExchangeRate:
    """Write down what a currency costs from a date on."""
    rate.by = by
    rate.full_clean()
    rate.save()
    history.record(rate, verb="wrote", by=by, at=at)
    return rate


@transaction.atomic
def add_green_price(*, terms: GreenPrice, by: Person, at: dt.datetime) -> GreenPrice:
    """Write down what the green of a lot costs from a date on."""
    terms.by = by
    terms.full_clean()
    terms.save()
    history.record(terms.lot, verb="agreed a price", by=by, at=at, after={"price": str(terms)})
    return terms


@transaction.atomic
def add_house_costs(*, costs: HouseCosts, by: Person, at: dt.datetime) -> HouseCosts:
    """Write down what a roasted kilogram costs beside its coffee, from a date on."""
    costs.by = by
    costs.full_clean()
    costs.save()
    history.record(costs, verb="wrote", by=by, at=at)
    return costs
