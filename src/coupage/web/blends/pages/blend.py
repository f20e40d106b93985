"""The list of blends, and one blend."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlencode

from django.db.models import Q
from django.http import Http404
from django.utils import timezone

from coupage.web.blends import queries
from coupage.web.blends.costs import costs_now
from coupage.web.blends.models import Blend, Recipe
from coupage.web.blends.pages.brief import wanted
from coupage.web.blends.pages.parts import (
    TONES,
    chance_said,
    cost_said,
    diff_words,
    made_of,
    parts_of,
    profiles,
    served,
)
from coupage.web.blends.serving import Served
from coupage.web.common.charts import ProfileChart
from coupage.web.common.dates import day_text
from coupage.web.common.listing import Choice, Filter, Listing
from coupage.web.common.requests import Request
from coupage.web.cuppings.beliefs import beliefs_now
from coupage.web.cuppings.pages.said import chance_text
from coupage.web.people import history
from coupage.web.people.models import Change

__all__ = ["BlendPage", "BlendsPage", "blend_page", "blends_page"]


@dataclass(frozen=True, slots=True)
class BlendRow:
    blend: Blend
    recipe: Recipe | None
    composition: str
    chance: str
    cost: str


@dataclass(frozen=True, slots=True)
class BlendsPage:
    blends: Listing[BlendRow]
    currency: str


@dataclass(frozen=True, slots=True)
class RecipeRow:
    recipe: Recipe
    tone: str
    composition: str
    chance: str
    cost: str
    dates: str
    diff: str


@dataclass(frozen=True, slots=True)
class BlendPage:
    blend: Blend
    sentence: str
    note: str
    recipes: tuple[RecipeRow, ...]
    picture: ProfileChart | None
    compared: str
    changes: tuple[Change, ...]


def blends_page(request: Request, currency: str) -> BlendsPage:
    beliefs, costs = beliefs_now(), costs_now()

    def row(blend: Blend) -> BlendRow:
        recipe = queries.recipe_in_service(blend)
        return BlendRow(
            blend,
            recipe,
            made_of(parts_of(recipe)) if recipe else "–",
            chance_said(served(recipe, beliefs)) if recipe else "–",
            cost_said(recipe, costs) if recipe else "–",
        )

    blends = Listing.of(
        request,
        queries.blends(),
        search=("name", "note", "brief__name"),
        sorts={"name": "name", "brief": ("brief__name", "name")},
        default="name",
        filters=(
            Filter(
                "kept",
                "Show",
                (
                    Choice("use", "In use", Q(archived=False)),
                    Choice("away", "Put away", Q(archived=True)),
                ),
                default="use",
            ),
        ),
    )
    return BlendsPage(blends.map(row), currency)


def blend_page(pk: int) -> BlendPage:
    """Return one blend's page, or 404."""
    blend = queries.blends().filter(pk=pk).first()
    if blend is None:
        raise Http404("There is no such blend.")
    beliefs, costs = beliefs_now(), costs_now()
    recipes = list(blend.recipes.all())
    found = {recipe.pk: served(recipe, beliefs) for recipe in recipes}
    current = queries.recipe_in_service(blend)
    rows = []
    for recipe in recipes:
        older = next((r for r in recipes if r.version < recipe.version), None)
        rows.append(
            RecipeRow(
                recipe=recipe,
                tone=TONES[recipe.state],
                composition=made_of(parts_of(recipe)),
                chance=chance_said(found[recipe.pk]),
                cost=cost_said(recipe, costs),
                dates=_dates(recipe),
                diff=diff_words(older, recipe) if older else "the first",
            )
        )
    return BlendPage(
        blend=blend,
        sentence=_blend_sentence(blend, current, recipes),
        note=_blend_note(current, found.get(current.pk) if current else None),
        recipes=tuple(rows),
        picture=_blend_picture(blend, recipes, found),
        compared=_compared(current, recipes),
        changes=tuple(history.of(blend)[:20]),
    )


def _compared(current: Recipe | None, recipes: list[Recipe]) -> str:
    """Write what the page that compares is asked: the recipe in service, then the newest others."""
    chosen = [r for r in [current] if r is not None] + [r for r in recipes if r != current]
    return urlencode(
        {f"recipe_{n}": r.pk for n, r in enumerate(chosen[:4], 1)} if chosen[1:] else {}
    )


def _dates(recipe: Recipe) -> str:
    if recipe.in_service_from and recipe.retired_on:
        return f"{day_text(recipe.in_service_from)} to {day_text(recipe.retired_on)}"
    if recipe.in_service_from:
        return f"since {day_text(recipe.in_service_from)}"
    return f"written {day_text(timezone.localtime(recipe.made_at))}"


def _blend_sentence(blend: Blend, current: Recipe | None, recipes: list[Recipe]) -> str:
    if not recipes:
        return f"{blend.name} has no recipe yet."
    if current is None:
        return f"{blend.name} has no recipe in service."
    return f"{blend.name} is made of {made_of(parts_of(current))}."


def _blend_note(current: Recipe | None, found: Served | None) -> str:
    if current is None:
        return ""
    if found is None:
        return f"Version {current.version}, {_dates(current)}."
    return (
        f"Version {current.version}, {_dates(current)}. Chance on brief: "
        f"{chance_text(found.chance)}."
    )


def _blend_picture(
    blend: Blend, recipes: list[Recipe], found: dict[int, Served | None]
) -> ProfileChart | None:
    drawn = [
        (f"version {recipe.version}, {recipe.state}", one.profile)
        for recipe in recipes
        if recipe.state != Recipe.State.RETIRED and (one := found[recipe.pk]) is not None
    ][:3]
    return profiles(drawn, wanted(blend.brief)) if drawn else None
