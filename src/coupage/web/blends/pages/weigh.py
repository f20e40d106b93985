"""The weighing sheet of a recipe: grams of each coffee, from which batch, on one page."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from coupage.table import weigh
from coupage.units import PPM, MassUnit, show_mass, show_share
from coupage.web.batches.models import Batch
from coupage.web.blends.models import Recipe
from coupage.web.coffees.models import Approach

__all__ = ["WeighLine", "WeighSheet", "weigh_sheet"]


@dataclass(frozen=True, slots=True)
class WeighLine:
    coffee: str
    wanted: str
    batch: str
    roasted: str
    per_lift: str
    whole: str
    achieved: str


@dataclass(frozen=True, slots=True)
class WeighSheet:
    recipe: Recipe
    lines: tuple[WeighLine, ...]
    lifts: int
    per_lift: str
    whole: str
    resolution: str
    warnings: tuple[str, ...]


def weigh_sheet(
    recipe: Recipe,
    *,
    total_g: int,
    lifts: int,
    resolution_g: Decimal,
    batches: dict[Approach, Batch],
    unit: MassUnit,
) -> WeighSheet:
    """Work out what to weigh.

    Raises
    ------
    InputError
        When a lift is smaller than one step of the scale.
    """
    shares = list(recipe.shares.all())
    weighing = weigh(
        [share.share_ppm / PPM for share in shares],
        total_g / lifts,
        lifts,
        float(resolution_g),
        names=[str(share.approach) for share in shares],
        tolerance=0.005,
    )
    lines = []
    for share, lift_g, achieved in zip(shares, weighing.grams, weighing.achieved, strict=True):
        batch = batches.get(share.approach)
        lines.append(
            WeighLine(
                coffee=str(share.approach),
                wanted=show_share(share.share_ppm),
                batch=batch.number if batch else "",
                roasted=f"{batch.roasted_at:%-d %b %Y}" if batch else "",
                per_lift=_shown(lift_g, unit),
                whole=_shown(lift_g * lifts, unit),
                achieved=f"{100 * achieved:.2f} %",
            )
        )
    return WeighSheet(
        recipe=recipe,
        lines=tuple(lines),
        lifts=lifts,
        per_lift=_shown(weighing.cup_grams, unit),
        whole=_shown(weighing.cup_grams * lifts, unit),
        resolution=f"{resolution_g:g} g",
        warnings=weighing.warnings,
    )


def _shown(grams: float, unit: MassUnit) -> str:
    """Write a mass as the scale shows it: grams below a kilogram, else kilograms to the gram."""
    exact = Decimal(str(round(grams, 3)))
    if unit == "kg":
        return f"{exact:g} g" if exact < 1000 else show_mass(exact, "kg", 3)
    return show_mass(exact, "oz", 2) if exact < 454 else show_mass(exact, "lb", 3)
