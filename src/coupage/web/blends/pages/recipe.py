"""One recipe: its taste, its chance, its cost, its life."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import Http404

from coupage.panel import Belief, Beliefs
from coupage.units import PPM
from coupage.web.blends import queries
from coupage.web.blends.costs import Costs, costs_now
from coupage.web.blends.forms import RecipeForm
from coupage.web.blends.models import Recipe
from coupage.web.blends.pages.bag import LABEL_RULES, composition
from coupage.web.blends.pages.brief import wanted
from coupage.web.blends.pages.money import CostRow, Move, cost_rows, moves, moves_picture
from coupage.web.blends.pages.parts import TONES, made_of, parts_of, profiles, served
from coupage.web.blends.serving import Served, shares_of
from coupage.web.common.charts import Composition, Part, ProfileChart
from coupage.web.common.revisions import StaleError, stale
from coupage.web.common.shares import ShareFormSet
from coupage.web.cuppings.beliefs import beliefs_now, tolerances
from coupage.web.cuppings.pages.said import chance_text
from coupage.web.people import history
from coupage.web.people.models import Change

__all__ = ["RecipePage", "recipe_page", "stale_recipe"]


@dataclass(frozen=True, slots=True)
class DifferenceRow:
    attribute: str
    difference: str
    chance: str
    verdict: str


@dataclass(frozen=True, slots=True)
class RecipePage:
    recipe: Recipe
    title: str
    tone: str
    sentence: str
    note: str
    composition: Composition
    picture: ProfileChart | None
    wants: tuple[tuple[str, str, bool], ...]
    costs: tuple[CostRow, ...]
    moves: tuple[Move, ...]
    moves_picture: str
    no_cost: str
    against: str
    differences: tuple[DifferenceRow, ...]
    statement: str
    rules: tuple[str, ...]
    changes: tuple[Change, ...]


def recipe_page(pk: int, currency: str) -> RecipePage:
    """Return one recipe's page, or 404."""
    recipe = queries.recipes().filter(pk=pk).first()
    if recipe is None:
        raise Http404("There is no such recipe.")
    beliefs = beliefs_now()
    found = served(recipe, beliefs)
    profile = _profile(recipe, beliefs)
    ranges = wanted(recipe.blend.brief)
    costs = costs_now()
    card = costs.of(recipe)
    moved = moves(costs, card, currency) if card else ()
    against, differences = _against_service(recipe, beliefs)
    return RecipePage(
        recipe=recipe,
        title=str(recipe),
        tone=TONES[recipe.state],
        sentence=_recipe_sentence(recipe, found, profile is not None),
        note=recipe.reason,
        composition=Composition(
            tuple(
                Part(str(approach), ppm / PPM, slot)
                for slot, (approach, ppm) in enumerate(parts_of(recipe), 1)
            ),
            label=str(recipe),
        ),
        picture=profiles([("this recipe", profile)], ranges) if profile else None,
        wants=tuple(
            (w.text, chance_text(w.chance), w.want.must) for w in (found.wants if found else ())
        ),
        costs=cost_rows(costs, card, currency) if card else (),
        moves=moved,
        moves_picture=moves_picture(card, moved, currency) if card else "",
        no_cost="" if card else _no_cost(costs),
        against=against,
        differences=differences,
        statement=composition(recipe),
        rules=LABEL_RULES,
        changes=tuple(history.of(recipe)[:20]),
    )


def _no_cost(costs: Costs) -> str:
    if costs.without_rate:
        return (
            f"There is no exchange rate for {', '.join(costs.without_rate)}; write it under "
            "Prices and costs."
        )
    return (
        "A coffee of this recipe has no price; give it one on its page, or under Prices and costs."
    )


def _profile(recipe: Recipe, beliefs: Beliefs | None) -> dict[str, Belief] | None:
    shares = shares_of(recipe)
    if beliefs is None or any(name not in beliefs.components for name in shares):
        return None
    return beliefs.restrict(list(shares)).profile(shares)


def _recipe_sentence(recipe: Recipe, found: Served | None, believed: bool) -> str:
    if found is not None:
        brief = recipe.blend.brief
        return f"{recipe} is on the brief {brief} with a chance of {chance_text(found.chance)}."
    if recipe.blend.brief is None:
        return f"{recipe.blend} has no brief to be held against."
    if believed:
        return "The brief asks for something that no table has rated yet."
    return "Its coffees were not cupped yet; there is nothing to believe."


def _against_service(
    recipe: Recipe, beliefs: Beliefs | None
) -> tuple[str, tuple[DifferenceRow, ...]]:
    """Say whether a guest would meet a different taste than the recipe in service."""
    blend = queries.blends().get(pk=recipe.blend_id)
    current = queries.recipe_in_service(blend)
    if current is None or current.pk == recipe.pk or beliefs is None:
        return "", ()
    mine, theirs = shares_of(recipe), shares_of(current)
    names = sorted({*mine, *theirs})
    if any(name not in beliefs.components for name in names):
        return "", ()
    found = beliefs.restrict(names).compare(mine, theirs, tolerances())
    return f"Against version {current.version}, in service", tuple(
        DifferenceRow(
            attribute,
            f"{c.difference:+.1f}".replace("-", "−"),
            chance_text(c.chance_same),
            c.verdict,
        )
        for attribute, c in found.items()
    )


def stale_recipe(
    form: RecipeForm, shares: ShareFormSet, problem: StaleError, pk: int
) -> dict[str, Any]:
    """Return what a page needs when somebody else saved the recipe first."""
    saved = queries.recipes().get(pk=pk)
    other = RecipeForm(initial={"reason": saved.reason})
    page: dict[str, Any] = stale(form, other, problem, saved)
    yours, theirs = shares.shares(), dict(parts_of(saved))
    if yours != theirs:
        page["differing"].insert(
            0, ("Proportions", made_of(yours.items()), made_of(theirs.items()))
        )
    return page
