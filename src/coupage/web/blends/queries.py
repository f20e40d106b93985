"""Reads about briefs, blends and recipes."""

from __future__ import annotations

from django.db.models import Count, Prefetch, QuerySet, Sum

from coupage.web.batches.models import Batch, Verdict
from coupage.web.blends.models import Blend, Brief, Recipe, RecipeShare
from coupage.web.coffees.models import Approach

__all__ = ["blends", "briefs", "newest_usable_batches", "recipe_in_service", "recipes", "weekly_kg"]


def briefs() -> QuerySet[Brief]:
    """Return all briefs with their wants."""
    return Brief.objects.prefetch_related("wants__attribute", "limits").annotate(
        want_count=Count("wants", distinct=True)
    )


def recipes() -> QuerySet[Recipe]:
    """Return all recipes with their shares and what their brief wants, ready to be held to it."""
    shares = RecipeShare.objects.select_related("approach__lot")
    return Recipe.objects.select_related("blend__brief", "made_by", "approved_by").prefetch_related(
        Prefetch("shares", queryset=shares),
        "blend__brief__wants__attribute",
        "blend__brief__limits",
    )


def blends() -> QuerySet[Blend]:
    """Return all blends with their brief and recipes."""
    return Blend.objects.select_related("brief").prefetch_related(
        Prefetch("recipes", queryset=recipes())
    )


def recipe_in_service(blend: Blend) -> Recipe | None:
    """Return the recipe that a blend is made by now."""
    return next(
        (recipe for recipe in blend.recipes.all() if recipe.state == Recipe.State.IN_SERVICE), None
    )


def newest_usable_batches(approaches: list[Approach]) -> dict[int, list[Batch]]:
    """Return usable batches by approach: weighed, valid, not on hold; newest first."""
    found: dict[int, list[Batch]] = {approach.pk: [] for approach in approaches}
    usable = (
        Batch.objects.filter(
            approach_version__approach__in=approaches, void=False, roasted_g__isnull=False
        )
        .exclude(verdict=Verdict.HOLD)
        .select_related("approach_version__approach__lot")
        .order_by("-roasted_at", "-id")
    )
    for batch in usable:
        found[batch.approach_version.approach_id].append(batch)
    return found


def weekly_kg(brief: Brief) -> float | None:
    """Return the roasted kilograms a week of all blends made for a brief; None where none says."""
    sold = Blend.objects.filter(brief=brief, archived=False).aggregate(g=Sum("weekly_g"))["g"]
    return None if sold is None else sold / 1000
