"""What coffees and recipes cost now: prices of the lots, losses estimated from their batches."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from coupage.cost import CostCard, roasted_cost
from coupage.units import PPM
from coupage.web.batches.losses import expected_losses
from coupage.web.blends.models import Recipe
from coupage.web.coffees.models import Approach
from coupage.web.cuppings.columns import component_name

__all__ = ["Costs", "costs_now"]


@dataclass(frozen=True, slots=True)
class Costs:
    """Landed green price and planned loss of each component that has a price."""

    price: dict[str, Decimal]
    loss: dict[str, float]

    def per_kg(self) -> dict[str, float]:
        """Return landed green per roasted kilogram of each component on its own."""
        return {
            name: float(card.coffee)
            for name in self.price
            if (card := self.card({name: 1.0})) is not None
        }

    def card(self, recipe: dict[str, float]) -> CostCard | None:
        """Return the cost of a recipe line by line, or None when a coffee has no price."""
        if any(name not in self.price for name in recipe):
            return None
        # Shares come as parts per million; as decimals they sum to 1 exactly.
        shares = {name: Decimal(round(share * PPM)) / PPM for name, share in recipe.items()}
        return roasted_cost(shares, self.price, self.loss)

    def of(self, recipe: Recipe) -> CostCard | None:
        """Return the cost of a stored recipe."""
        return self.card(
            {component_name(share.approach): share.share_ppm / PPM for share in recipe.shares.all()}
        )


def costs_now() -> Costs:
    """Return what every approach's coffee costs now.

    The loss is the shrunken estimate from its newest batches, so that a coffee roasted once or
    never has a sensible one.
    """
    losses = expected_losses()
    price: dict[str, Decimal] = {}
    loss: dict[str, float] = {}
    for approach in Approach.objects.select_related("lot"):
        name = component_name(approach)
        loss[name] = losses[approach.pk].mean
        if approach.lot.price_per_kg is not None:
            price[name] = approach.lot.price_per_kg
    return Costs(price, loss)
