"""The list of blends, one blend, and one recipe."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Q
from django.http import Http404
from django.urls import reverse

from coupage.panel import Belief, Beliefs
from coupage.units import PPM, show_share
from coupage.web.blends import queries
from coupage.web.blends.costs import Costs, costs_now
from coupage.web.blends.models import Blend, Recipe
from coupage.web.blends.pages.brief import wanted
from coupage.web.blends.serving import Served, serve, shares_of
from coupage.web.common.charts import Composition, Part, ProfileChart, ProfileRow
from coupage.web.common.listing import Choice, Filter, Listing
from coupage.web.common.requests import Request
from coupage.web.cuppings.beliefs import beliefs_now, tolerances
from coupage.web.people import history
from coupage.web.people.models import Change

__all__ = ["BlendPage", "BlendsPage", "RecipePage", "blend_page", "blends_page", "recipe_page"]

TONES = {"trial": "quiet", "approved": "attention", "in service": "action", "retired": "quiet"}


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
    put_away: str
    take_out: str
    changes: tuple[Change, ...]


@dataclass(frozen=True, slots=True)
class CostRow:
    what: str
    amount: str


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
    shares: tuple[tuple[str, str], ...]
    picture: ProfileChart | None
    wants: tuple[tuple[str, str, bool], ...]
    costs: tuple[CostRow, ...]
    no_cost: str
    against: str
    differences: tuple[DifferenceRow, ...]
    changes: tuple[Change, ...]


def blends_page(request: Request, currency: str) -> BlendsPage:
    beliefs, costs = beliefs_now(), costs_now()

    def row(blend: Blend) -> BlendRow:
        recipe = queries.recipe_in_service(blend)
        return BlendRow(
            blend,
            recipe,
            _composition_text(recipe) if recipe else "–",
            _chance(_served(recipe, beliefs)) if recipe else "–",
            _cost(recipe, costs) if recipe else "–",
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
    served = {recipe.pk: _served(recipe, beliefs) for recipe in recipes}
    current = queries.recipe_in_service(blend)
    rows = []
    for recipe in recipes:
        older = next((r for r in recipes if r.version < recipe.version), None)
        rows.append(
            RecipeRow(
                recipe=recipe,
                tone=TONES[recipe.state],
                composition=_composition_text(recipe),
                chance=_chance(served[recipe.pk]),
                cost=_cost(recipe, costs),
                dates=_dates(recipe),
                diff=_diff(older, recipe) if older else "the first",
            )
        )
    away = reverse("blends:archive-blend", args=[pk])
    return BlendPage(
        blend=blend,
        sentence=_blend_sentence(blend, current, recipes),
        note=_blend_note(current, served.get(current.pk) if current else None),
        recipes=tuple(rows),
        picture=_blend_picture(blend, recipes, served),
        put_away=away,
        take_out=f"{away}?back",
        changes=tuple(history.of(blend)[:20]),
    )


def _served(recipe: Recipe, beliefs: Beliefs | None) -> Served | None:
    if recipe.blend.brief is None:
        return None
    return serve(recipe.blend.brief, beliefs, shares_of(recipe))


def _chance(served: Served | None) -> str:
    return f"{100 * served.chance:.0f} %" if served else "–"


def _cost(recipe: Recipe, costs: Costs) -> str:
    card = costs.of(recipe)
    return f"{card.coffee:.2f}" if card else "–"


def _composition_text(recipe: Recipe) -> str:
    return ", ".join(f"{show_share(s.share_ppm)} {s.approach}" for s in recipe.shares.all())


def _dates(recipe: Recipe) -> str:
    if recipe.in_service_from and recipe.retired_on:
        return f"{recipe.in_service_from:%-d %b %Y} to {recipe.retired_on:%-d %b %Y}"
    if recipe.in_service_from:
        return f"since {recipe.in_service_from:%-d %b %Y}"
    return f"written {recipe.made_at:%-d %b %Y}"


def _diff(old: Recipe, new: Recipe) -> str:
    """Say in words what a recipe changes against the one before it."""
    before = {s.approach: s.share_ppm for s in old.shares.all()}
    after = {s.approach: s.share_ppm for s in new.shares.all()}
    said = []
    for approach, share in after.items():
        change = share - before.get(approach, 0)
        if approach not in before:
            said.append(f"{show_share(share)} {approach} comes in")
        elif change:
            more = "more" if change > 0 else "less"
            said.append(f"{show_share(abs(change))} {more} {approach}")
    said += [f"{approach} goes out" for approach in before if approach not in after]
    return "; ".join(said) or "the same proportions"


def _blend_sentence(blend: Blend, current: Recipe | None, recipes: list[Recipe]) -> str:
    if not recipes:
        return f"{blend.name} has no recipe yet."
    if current is None:
        return f"{blend.name} has no recipe in service."
    return f"{blend.name} is made of {_joined(_composition_text(current).split(', '))}."


def _joined(parts: list[str]) -> str:
    # A component's own name holds a comma ("lot, approach"): it stays with its share.
    whole: list[str] = []
    for part in parts:
        if whole and " %" not in part:
            whole[-1] += f", {part}"
        else:
            whole.append(part)
    return whole[0] if len(whole) == 1 else f"{'; '.join(whole[:-1])} and {whole[-1]}"


def _blend_note(current: Recipe | None, served: Served | None) -> str:
    if current is None:
        return ""
    if served is None:
        return f"Version {current.version}, {_dates(current)}."
    return (
        f"Version {current.version}, {_dates(current)}. Chance on brief: "
        f"{100 * served.chance:.0f} %."
    )


def _blend_picture(
    blend: Blend, recipes: list[Recipe], served: dict[int, Served | None]
) -> ProfileChart | None:
    drawn = [
        (f"version {recipe.version}, {recipe.state}", found.profile)
        for recipe in recipes
        if recipe.state != Recipe.State.RETIRED and (found := served[recipe.pk]) is not None
    ][:3]
    return _profiles(drawn, wanted(blend.brief)) if drawn else None


def _profiles(
    drawn: list[tuple[str, dict[str, Belief]]],
    ranges: dict[str, tuple[float | None, float | None]],
) -> ProfileChart:
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


def recipe_page(pk: int, currency: str) -> RecipePage:
    """Return one recipe's page, or 404."""
    recipe = queries.recipes().filter(pk=pk).first()
    if recipe is None:
        raise Http404("There is no such recipe.")
    beliefs = beliefs_now()
    served = _served(recipe, beliefs)
    profile = _profile(recipe, beliefs)
    ranges = wanted(recipe.blend.brief)
    card = costs_now().of(recipe)
    against, differences = _against_service(recipe, beliefs)
    return RecipePage(
        recipe=recipe,
        title=str(recipe),
        tone=TONES[recipe.state],
        sentence=_recipe_sentence(recipe, served, profile is not None),
        note=recipe.reason,
        composition=Composition(
            tuple(
                Part(str(share.approach), share.share_ppm / PPM, slot)
                for slot, share in enumerate(recipe.shares.all(), 1)
            ),
            label=str(recipe),
        ),
        shares=tuple((str(s.approach), show_share(s.share_ppm)) for s in recipe.shares.all()),
        picture=_profiles([("this recipe", profile)], ranges) if profile else None,
        wants=tuple(
            (w.text, f"{100 * w.chance:.0f} %", w.want.must)
            for w in (served.wants if served else ())
        ),
        costs=tuple(
            CostRow(line.what, f"{line.per_kg:.2f} {currency}")
            for line in (card.lines[:2] if card else ())
        )
        + ((CostRow("coffee per roasted kg", f"{card.coffee:.2f} {currency}"),) if card else ()),
        no_cost="" if card else "A coffee of this recipe has no price; give it one on its page.",
        against=against,
        differences=differences,
        changes=tuple(history.of(recipe)[:20]),
    )


def _profile(recipe: Recipe, beliefs: Beliefs | None) -> dict[str, Belief] | None:
    shares = shares_of(recipe)
    if beliefs is None or any(name not in beliefs.components for name in shares):
        return None
    return beliefs.restrict(list(shares)).profile(shares)


def _recipe_sentence(recipe: Recipe, served: Served | None, believed: bool) -> str:
    if served is not None:
        brief = recipe.blend.brief
        return f"{recipe} is on the brief {brief} with a chance of {100 * served.chance:.0f} %."
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
            f"{100 * c.chance_same:.0f} %",
            c.verdict,
        )
        for attribute, c in found.items()
    )
