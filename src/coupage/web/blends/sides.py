"""Recipes as proportions: what a stored one is made of, and one that is held against others."""

from __future__ import annotations

from dataclasses import dataclass

from coupage.units import PPM
from coupage.web.blends.models import Recipe
from coupage.web.coffees.models import Approach
from coupage.web.cuppings.columns import component_name

__all__ = ["Side", "parts_of"]


@dataclass(frozen=True, slots=True)
class Side:
    """A recipe that is compared: its name on the page, its blend's weekly amount, its shares."""

    name: str
    shares: dict[Approach, int]
    weekly_kg: float | None = None

    @property
    def recipe(self) -> dict[str, float]:
        return {component_name(a): ppm / PPM for a, ppm in self.shares.items() if ppm}


def parts_of(recipe: Recipe) -> list[tuple[Approach, int]]:
    """Return the components of a stored recipe with their parts per million, largest first."""
    return [(share.approach, share.share_ppm) for share in recipe.shares.all()]
