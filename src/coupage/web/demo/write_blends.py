"""What the demo's blends tell the counter, promise on the bag, and cost beside their coffee."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from coupage.web.blends.models import Blend, CafeCard, HouseCosts, PromiseWord, Recipe
from coupage.web.cuppings.models import Attribute
from coupage.web.demo.write_tables import TableWriter

__all__ = ["write_bag", "write_house_costs"]

# Dose and drink in grams, seconds, with milk, at the counter; by the name of the blend.
CARDS = {
    "Ropewalk": (
        "18.5",
        "39",
        29,
        "Flat white: 39 g into 150 g of milk. Sweet at first, cocoa when it cools.",
        "If a guest asks: rounder and less bright than last month.",
    ),
    "Slack Tide": ("17.5", "42", 27, "Too bright for much milk; offer the Ropewalk.", ""),
}
# Word on the bag, attribute, at least, at most.
WORDS = {
    "Ropewalk": (("sweet", "sweetness", "5", None), ("full", "body", "5", None)),
    "Slack Tide": (("fruity", "fruit", "5.5", None), ("bright", "acidity", "5", None)),
}
WEEKLY_KG = {"Ropewalk": 70, "Slack Tide": 22}


def write_bag(attributes: Mapping[str, Attribute]) -> None:
    """Write cards for the recipes in service, the words on the bags, and what is sold in a week."""
    for recipe in Recipe.objects.filter(state=Recipe.State.IN_SERVICE).select_related("blend"):
        dose, drink, seconds, milk, note = CARDS[recipe.blend.name]
        CafeCard.objects.create(
            recipe=recipe,
            dose_mg=int(Decimal(dose) * 1000),
            drink_mg=int(Decimal(drink) * 1000),
            seconds=seconds,
            temperature_c=Decimal(93),
            milk=milk,
            note=note,
        )
    blends = {blend.name: blend for blend in Blend.objects.all()}
    PromiseWord.objects.bulk_create(
        PromiseWord(
            blend=blends[name],
            text=text,
            attribute=attributes[attribute],
            low=None if low is None else Decimal(low),
            high=None if high is None else Decimal(high),
        )
        for name, words in WORDS.items()
        for text, attribute, low, high in words
    )
    for name, kilograms in WEEKLY_KG.items():
        Blend.objects.filter(name=name).update(weekly_g=1000 * kilograms)


def write_house_costs(writer: TableWriter) -> None:
    """Write what a roasted kilogram costs beside its coffee."""
    HouseCosts.objects.create(
        on=writer.day(120),
        roasting=Decimal("0.62"),
        labour=Decimal("1.85"),
        packaging=Decimal("0.48"),
        overhead=Decimal("1.30"),
        margin_ppm=380_000,
        by=writer.person["tamsin"],
    )
