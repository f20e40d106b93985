"""What several pages about blends and recipes say or draw the same way."""

from __future__ import annotations

from collections.abc import Iterable

from coupage.panel import Belief, Beliefs
from coupage.units import show_share
from coupage.web.blends.costs import Costs
from coupage.web.blends.models import Recipe
from coupage.web.blends.serving import Served, serve, shares_of
from coupage.web.blends.sides import parts_of
from coupage.web.coffees.models import Approach
from coupage.web.common.charts import ProfileChart, ProfileRow
from coupage.web.cuppings.pages.said import chance_text

__all__ = [
    "TONES",
    "chance_said",
    "cost_said",
    "diff_words",
    "joined",
    "made_of",
    "parts_of",
    "profiles",
    "served",
]

TONES = {"trial": "quiet", "approved": "attention", "in service": "action", "retired": "quiet"}


def made_of(shares: Iterable[tuple[Approach, int]]) -> str:
    """Say proportions: ``45 % Amber Ridge (light), 40 % ... and 15 % Birch Fall (long)``."""
    return joined([f"{show_share(ppm)} {approach}" for approach, ppm in shares])


def diff_words(old: Recipe, new: Recipe) -> str:
    """Say in words what a recipe changes against the one before it."""
    before, after = dict(parts_of(old)), dict(parts_of(new))
    changes = []
    for approach, share in after.items():
        change = share - before.get(approach, 0)
        if approach not in before:
            changes.append(f"{show_share(share)} {approach} comes in")
        elif change:
            more = "more" if change > 0 else "less"
            changes.append(f"{show_share(abs(change))} {more} {approach}")
    changes += [f"{approach} goes out" for approach in before if approach not in after]
    return "; ".join(changes) or "the same proportions"


def joined(parts: list[str]) -> str:
    """Join words as a sentence does."""
    return " and ".join([", ".join(parts[:-1]), parts[-1]]) if len(parts) > 1 else "".join(parts)


def served(recipe: Recipe, beliefs: Beliefs | None) -> Served | None:
    """Hold a recipe against the brief of its blend; None where there is none or no belief."""
    if recipe.blend.brief is None:
        return None
    return serve(recipe.blend.brief, beliefs, shares_of(recipe))


def chance_said(found: Served | None) -> str:
    return chance_text(found.chance) if found else "–"


def cost_said(recipe: Recipe, costs: Costs) -> str:
    card = costs.of(recipe)
    return f"{card.coffee:.2f}" if card else "–"


def profiles(
    drawn: list[tuple[str, dict[str, Belief]]],
    ranges: dict[str, tuple[float | None, float | None]],
) -> ProfileChart:
    """Draw named profiles beside each other, with the wanted ranges behind them."""
    attributes = list(drawn[0][1])
    return ProfileChart(
        rows=tuple(
            ProfileRow(
                attribute,
                tuple(profile.get(attribute) for _, profile in drawn),
                wanted=ranges.get(attribute, (None, None)),
            )
            for attribute in attributes
        ),
        series=tuple(name for name, _ in drawn),
        caption="Believed taste against the brief" if ranges else "Believed taste",
    )
