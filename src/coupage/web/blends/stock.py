"""How much of a recipe the green on hand makes, and for how long."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from coupage.web.coffees.models import Approach
from coupage.web.coffees.queries import lots
from coupage.web.cuppings.columns import component_name

__all__ = ["Makes", "Stock", "stock_now"]


@dataclass(frozen=True, slots=True)
class Makes:
    """Roasted kilograms of a recipe that the green on hand makes, and the lot that ends first."""

    roasted_kg: float
    lot: str


@dataclass(frozen=True, slots=True)
class Stock:
    """Green kilograms on hand by lot, and the lot and planned loss of each component."""

    green_kg: dict[int, float]
    lot_names: dict[int, str]
    lot_of: dict[str, int]
    loss: dict[str, float]

    def makes(self, recipe: Mapping[str, float]) -> Makes | None:
        """Return what the green on hand makes of a recipe; None for a coffee that is not known.

        Two approaches of one lot draw on the same green.
        """
        if not recipe or any(name not in self.lot_of for name in recipe):
            return None
        drawn: dict[int, float] = {}
        for name, share in recipe.items():
            lot = self.lot_of[name]
            drawn[lot] = drawn.get(lot, 0.0) + share / (1 - self.loss[name])
        kilograms = {lot: max(0.0, self.green_kg[lot]) / need for lot, need in drawn.items()}
        first = min(kilograms, key=lambda lot: kilograms[lot])
        return Makes(kilograms[first], self.lot_names[first])


def stock_now(loss: Mapping[str, float]) -> Stock:
    """Return the stock of every approach's lot; ``loss`` as :func:`..costs.costs_now` gives it."""
    there = {lot.pk: lot for lot in lots()}
    lot_of = {
        component_name(approach): approach.lot_id
        for approach in Approach.objects.select_related("lot")
    }
    return Stock(
        green_kg={pk: lot.on_hand_g / 1000 for pk, lot in there.items()},
        lot_names={pk: lot.name for pk, lot in there.items()},
        lot_of=lot_of,
        loss={name: loss[name] for name in lot_of},
    )
