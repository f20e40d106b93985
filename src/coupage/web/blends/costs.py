"""What coffees and recipes cost now: prices of the lots, losses estimated from their batches."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from django.utils import timezone

from coupage.cost import CostCard, price_for_margin, roasted_cost
from coupage.roast import ExpectedLoss
from coupage.units import PPM
from coupage.web.batches.losses import expected_losses
from coupage.web.blends.models import ExchangeRate, GreenPrice, HouseCosts, Recipe
from coupage.web.coffees.models import Approach
from coupage.web.cuppings.columns import component_name
from coupage.web.people.queries import roastery

__all__ = ["Costs", "costs_now"]

_NOTHING = Decimal(0)


@dataclass(frozen=True, slots=True)
class Costs:
    """Price, freight and duty of the green of each component that has a price, and its loss.

    ``expected`` holds the loss with its doubt; ``house`` what a roasted kilogram costs beside its
    coffee; ``without_rate`` the currencies of prices for which no exchange rate is written down.
    """

    price: Mapping[str, Decimal]
    loss: Mapping[str, float]
    freight: Mapping[str, Decimal] = field(default_factory=dict)
    duty: Mapping[str, Decimal] = field(default_factory=dict)
    expected: Mapping[str, ExpectedLoss] = field(default_factory=dict)
    house: HouseCosts | None = None
    without_rate: tuple[str, ...] = ()

    def per_kg(self) -> dict[str, float]:
        """Return landed green per roasted kilogram of each component on its own."""
        return {
            name: float(card.coffee)
            for name in self.price
            if (card := self.card({name: 1.0})) is not None
        }

    def card(self, recipe: Mapping[str, float]) -> CostCard | None:
        """Return the cost of a recipe line by line, or None when a coffee has no price."""
        if any(name not in self.price for name in recipe):
            return None
        # Shares come as parts per million; as decimals they sum to 1 exactly.
        shares = {name: Decimal(round(share * PPM)) / PPM for name, share in recipe.items()}
        house = self.house
        return roasted_cost(
            shares,
            self.price,
            self.loss,
            freight={name: self.freight.get(name, _NOTHING) for name in shares},
            duty={name: self.duty.get(name, _NOTHING) for name in shares},
            roasting=house.roasting if house else 0,
            labour=house.labour if house else 0,
            packaging=house.packaging if house else 0,
            overhead=house.overhead if house else 0,
        )

    def of(self, recipe: Recipe) -> CostCard | None:
        """Return the cost of a stored recipe."""
        return self.card(
            {component_name(share.approach): share.share_ppm / PPM for share in recipe.shares.all()}
        )

    def coffee_between(self, card: CostCard) -> tuple[float, float]:
        """Return the 90 % interval of a card's coffee, from the doubt about the losses alone.

        The losses of the coffees are taken as independent: half widths add as squares.
        """
        down = up = 0.0
        for line in card.green:
            share, landed = float(line.share), float(line.landed)
            loss = self.expected[line.component]
            now = share * landed / (1 - float(line.loss))
            down += (now - share * landed / (1 - loss.low90)) ** 2
            up += (share * landed / (1 - loss.high90) - now) ** 2
        coffee = float(card.coffee)
        return coffee - math.sqrt(down), coffee + math.sqrt(up)

    def selling_price(self, card: CostCard) -> Decimal | None:
        """Return the price that leaves the house's margin; None where none is set."""
        if self.house is None or self.house.margin_ppm is None:
            return None
        return price_for_margin(card, Decimal(self.house.margin_ppm) / PPM)


def costs_now(on: dt.date | None = None) -> Costs:
    """Return what every approach's coffee costs on a day, today unless given.

    A price that was agreed comes before the landed price on the page of the lot. The loss is the
    shrunken estimate from an approach's newest batches, so that a coffee roasted once or never
    has a sensible one.
    """
    day = on or timezone.localdate()
    losses = expected_losses()
    rates = _rates(day)
    agreed = _agreed(day)
    price: dict[str, Decimal] = {}
    freight: dict[str, Decimal] = {}
    duty: dict[str, Decimal] = {}
    expected: dict[str, ExpectedLoss] = {}
    without: set[str] = set()
    for approach in Approach.objects.select_related("lot"):
        name = component_name(approach)
        expected[name] = losses[approach.pk]
        terms = agreed.get(approach.lot_id)
        if terms is None:
            if approach.lot.price_per_kg is not None:
                price[name] = approach.lot.price_per_kg
        elif terms.currency not in rates:
            without.add(terms.currency)
        else:
            price[name] = terms.price * rates[terms.currency]
            freight[name] = terms.freight
            duty[name] = Decimal(terms.duty_ppm) / PPM
    return Costs(
        price=price,
        loss={name: loss.mean for name, loss in expected.items()},
        freight=freight,
        duty=duty,
        expected=expected,
        house=HouseCosts.objects.filter(on__lte=day).first(),
        without_rate=tuple(sorted(without)),
    )


def _rates(day: dt.date) -> dict[str, Decimal]:
    """Return what a unit of each currency costs, by the newest rate that has come."""
    rates = {roastery().currency: Decimal(1)}
    for rate in ExchangeRate.objects.filter(on__lte=day).order_by("currency", "-on", "-id"):
        rates.setdefault(rate.currency, rate.rate)
    return rates


def _agreed(day: dt.date) -> dict[int, GreenPrice]:
    found: dict[int, GreenPrice] = {}
    for terms in GreenPrice.objects.filter(on__lte=day).order_by("lot", "-on", "-id"):
        found.setdefault(terms.lot_id, terms)
    return found
