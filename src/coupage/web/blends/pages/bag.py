"""What the counter is told and what the bag says: the card, the composition, the promise."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass

from django.http import Http404

from coupage.panel import Beliefs
from coupage.units import show_share
from coupage.web.blends import queries
from coupage.web.blends.models import Blend, CafeCard, PromiseWord, Recipe
from coupage.web.blends.pages.parts import diff_words, parts_of
from coupage.web.blends.serving import promise_chance, promise_text, shares_of
from coupage.web.cuppings.beliefs import beliefs_now
from coupage.web.cuppings.pages.said import chance_text
from coupage.web.people.queries import roastery

__all__ = [
    "LABEL_RULES",
    "CardSheet",
    "PromisePage",
    "card_sheet",
    "composition",
    "first_card",
    "promise_page",
]

# Which rules a bag may fall under; what holds where is for the local law to say.
LABEL_RULES = (
    "EU: what the label stresses is given in per cent (Regulation 1169/2011, Article 22).",
    "EU: the origin of what is over 50 %, where another is shown (Regulation 2018/775).",
    "EU: a lot mark (Directive 2011/91/EU, Article 3).",
    "Hawaii: percentages by weight in descending order (HRS 486-120.6).",
)
_SUGGESTED = 3


@dataclass(frozen=True, slots=True)
class CardSheet:
    recipe: Recipe
    card: CafeCard | None
    ratio: str
    dose: str
    drink: str
    changed: str
    made_of: tuple[tuple[str, str], ...]
    promises: tuple[str, ...]


def card_sheet(recipe: Recipe) -> CardSheet:
    """Return what stands on the card of a recipe."""
    card = CafeCard.objects.filter(recipe=recipe).first()
    before = _before(recipe)
    return CardSheet(
        recipe=recipe,
        card=card,
        ratio=f"1 : {card.drink_mg / card.dose_mg:.1f}" if card else "",
        dose=f"{card.dose_mg / 1000:.1f} g" if card else "",
        drink=f"{card.drink_mg / 1000:.1f} g" if card else "",
        changed=diff_words(before, recipe) if before else "the first recipe of this blend",
        made_of=tuple((str(a.lot), show_share(ppm)) for a, ppm in parts_of(recipe)),
        promises=tuple(word.text for word in recipe.blend.promises.all()),
    )


def first_card(recipe: Recipe) -> CafeCard | None:
    """Return the card of the recipe before, for a new one to begin with."""
    before = _before(recipe)
    while before is not None:
        card = CafeCard.objects.filter(recipe=before).first()
        if card is not None:
            return card
        before = _before(before)
    return None


def _before(recipe: Recipe) -> Recipe | None:
    older = queries.recipes().filter(blend_id=recipe.blend_id, version__lt=recipe.version)
    return older.order_by("-version").first()


def composition(recipe: Recipe) -> str:
    """Say what a bag must, where the law asks for it: origins in descending order.

    Rounded to tenths of a per cent by the largest remainder, so that they add up to 100.
    """
    shares: defaultdict[str, int] = defaultdict(int)
    for approach, ppm in parts_of(recipe):
        shares[approach.lot.origin] += ppm
    tenths = _tenths(shares)
    rows = sorted(tenths.items(), key=lambda pair: (-pair[1], pair[0]))
    return ", ".join(f"{origin} {tenth / 10:g} %" for origin, tenth in rows)


def _tenths(shares: dict[str, int]) -> dict[str, int]:
    parts = {name: ppm // 1000 for name, ppm in shares.items()}
    left = 1000 - sum(parts.values())
    for name in sorted(shares, key=lambda n: (-(shares[n] % 1000), n))[:left]:
        parts[name] += 1
    return parts


@dataclass(frozen=True, slots=True)
class PromiseRow:
    text: str
    backing: str
    chances: tuple[tuple[str, bool], ...]  # the chance, and whether it is enough


@dataclass(frozen=True, slots=True)
class PromisePage:
    blend: Blend
    sentence: str
    recipes: tuple[str, ...]
    rows: tuple[PromiseRow, ...]
    suggested: tuple[str, ...]


def promise_page(pk: int) -> PromisePage:
    """Return what a blend's bag promises and for which recipes it is true, or 404."""
    blend = queries.blends().prefetch_related("promises__attribute").filter(pk=pk).first()
    if blend is None:
        raise Http404("There is no such blend.")
    beliefs, enough = beliefs_now(), float(roastery().verdict_chance)
    recipes = [r for r in blend.recipes.all() if r.state != Recipe.State.RETIRED and r.sealed]
    words = list(blend.promises.all())
    table = {
        word.pk: [promise_chance(word, beliefs, shares_of(recipe)) for recipe in recipes]
        for word in words
    }
    return PromisePage(
        blend=blend,
        sentence=_sentence(words, recipes, table, enough),
        recipes=tuple(f"version {r.version}, {r.state}" for r in recipes),
        rows=tuple(
            PromiseRow(
                word.text,
                promise_text(word)[len(word.text) + 2 : -1],
                tuple(
                    ("–", False) if c is None else (chance_text(c), c >= enough)
                    for c in table[word.pk]
                ),
            )
            for word in words
        ),
        suggested=_suggested(blend, beliefs),
    )


def _sentence(
    words: list[PromiseWord],
    recipes: list[Recipe],
    table: dict[int, list[float | None]],
    enough: float,
) -> str:
    if not words:
        return "The bag promises nothing yet."
    if not recipes:
        return "There is no recipe to hold the promise against."
    said = []
    for n, recipe in enumerate(recipes):
        chances = [table[word.pk][n] for word in words]
        true = sum(c is not None and c >= enough for c in chances)
        count = "all" if true == len(words) else f"{true} of {len(words)}"
        said.append(
            f"{count} {'words are' if len(words) > 1 else 'word is'} true of version "
            f"{recipe.version} ({recipe.state})"
        )
    text = "; ".join(said)
    return f"{text[:1].upper()}{text[1:]}, with a chance of {100 * enough:g} % or more."


def _suggested(blend: Blend, beliefs: Beliefs | None) -> tuple[str, ...]:
    """Say what could be promised of the recipe in service: its strongest, at what is sure."""
    recipe = queries.recipe_in_service(blend)
    if recipe is None or beliefs is None:
        return ()
    shares = shares_of(recipe)
    if any(name not in beliefs.components for name in shares):
        return ()
    profile = beliefs.restrict(list(shares)).profile(shares)
    strongest = sorted(profile.items(), key=lambda pair: -pair[1].low90)[:_SUGGESTED]
    return tuple(
        f"{name} at least {math.floor(2 * belief.low90) / 2:g} (95 % or more)"
        for name, belief in strongest
    )
