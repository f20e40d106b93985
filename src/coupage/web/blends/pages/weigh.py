"""The weighing sheet of a recipe: grams of each coffee, from which batch, on one page."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal

from django.utils import timezone

from coupage.errors import InputError
from coupage.table import weigh
from coupage.units import GRAMS_PER_OZ, PPM, show_mass, show_share
from coupage.web.batches.models import Batch
from coupage.web.blends.models import Recipe
from coupage.web.blends.pages.parts import joined, parts_of
from coupage.web.coffees.models import Approach
from coupage.web.common.dates import day_text

__all__ = ["WeighLine", "WeighSheet", "weigh_sheet"]

# A share that rounding moves by more than this is worth a warning.
TOLERANCE = 0.005
MOST_TICKS = 24


@dataclass(frozen=True, slots=True)
class WeighLine:
    coffee: str
    wanted: str
    batch: str
    roasted: str
    per_load: str
    whole: str


@dataclass(frozen=True, slots=True)
class WeighSheet:
    recipe: Recipe
    lines: tuple[WeighLine, ...]
    loads: int
    per_load: str
    whole: str
    resolution: str
    warnings: tuple[str, ...]

    @property
    def ticks(self) -> range:
        """One box to tick for each load, where there are several and not too many."""
        return range(self.loads if 1 < self.loads <= MOST_TICKS else 0)


def weigh_sheet(
    recipe: Recipe,
    *,
    total_g: int,
    loads: int,
    resolution_g: Decimal,
    batches: dict[Approach, Batch],
    unit: str,
) -> WeighSheet:
    """Work out what to weigh: whole steps of the scale that sum to the load.

    Raises
    ------
    InputError
        When a load is smaller than one step of the scale.
    """
    parts = parts_of(recipe)
    if Decimal(total_g) / loads < resolution_g:
        raise InputError(
            "one load is smaller than one step of the scale; use a finer scale or fewer loads"
        )
    weighing = weigh([ppm / PPM for _, ppm in parts], total_g / loads, loads, float(resolution_g))
    lines, moved = [], []
    for (approach, ppm), load_g, achieved in zip(
        parts, weighing.grams, weighing.achieved, strict=True
    ):
        batch = batches.get(approach)
        lines.append(
            WeighLine(
                coffee=str(approach),
                wanted=show_share(ppm),
                batch=batch.number if batch else "",
                roasted=f"{day_text(timezone.localtime(batch.roasted_at), year=False)}"
                if batch
                else "",
                per_load=_shown(load_g, unit),
                whole=_shown(load_g * loads, unit),
            )
        )
        if abs(achieved - ppm / PPM) > TOLERANCE:
            moved.append(f"{approach} becomes {100 * achieved:.1f} %")
    warnings = []
    if moved:
        warnings.append(
            f"The scale is coarse for this: {joined(moved)}. Use a finer scale or larger loads."
        )
    whole_g = weighing.cup_grams * loads
    if abs(whole_g - total_g) >= 0.5:
        warnings.append(
            f"{_shown(total_g, unit)} do not divide into {loads} equal loads on this scale; "
            f"this sheet makes {_shown(whole_g, unit)}."
        )
    return WeighSheet(
        recipe=recipe,
        lines=tuple(lines),
        loads=loads,
        per_load=_shown(weighing.cup_grams, unit),
        whole=_shown(whole_g, unit),
        resolution=_shown(float(resolution_g), unit),
        warnings=tuple(warnings),
    )


def _shown(grams: float, unit: str) -> str:
    """Write a mass as a scale shows it: ``350 g``, ``4.500 kg``; ``9 lb 14.5 oz``."""
    exact = Decimal(str(round(grams, 3)))
    if unit != "lb":
        whole = exact == exact.to_integral_value()
        return show_mass(exact, "kg", 3) if exact >= 1000 and whole else f"{_plain(exact)} g"
    ounces = (Decimal(str(grams)) / GRAMS_PER_OZ).quantize(Decimal("0.01"), ROUND_HALF_EVEN)
    pounds, rest = divmod(ounces, 16)
    return f"{pounds} lb {_plain(rest)} oz" if pounds else f"{_plain(rest)} oz"


def _plain(value: Decimal) -> str:
    return f"{value:f}".rstrip("0").rstrip(".") if "." in f"{value:f}" else f"{value:f}"
