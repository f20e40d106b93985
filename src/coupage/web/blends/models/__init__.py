"""Briefs, blends and their dated recipes, and what they cost."""

from coupage.web.blends.models.briefs import Brief, BriefLimit, Lasting, Service, Want
from coupage.web.blends.models.money import ExchangeRate, GreenPrice, HouseCosts
from coupage.web.blends.models.recipes import (
    Blend,
    CafeCard,
    PromiseWord,
    Recipe,
    RecipeSample,
    RecipeShare,
)

__all__ = [
    "Blend",
    "Brief",
    "BriefLimit",
    "CafeCard",
    "ExchangeRate",
    "GreenPrice",
    "HouseCosts",
    "Lasting",
    "PromiseWord",
    "Recipe",
    "RecipeSample",
    "RecipeShare",
    "Service",
    "Want",
]
