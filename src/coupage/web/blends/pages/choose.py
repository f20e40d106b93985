"""Which proportions serve the brief best: the search and its answer."""

from __future__ import annotations

import time
from dataclasses import dataclass

from coupage.errors import InfeasibleError, InputError
from coupage.mixture import Region
from coupage.panel import Beliefs
from coupage.recipe import Choice, Search, search
from coupage.units import show_share, whole_shares
from coupage.web.blends import queries
from coupage.web.blends.costs import costs_now
from coupage.web.blends.models import Blend, Brief
from coupage.web.blends.pages.brief import wanted
from coupage.web.blends.serving import room_brief, serve, shares_of
from coupage.web.coffees.models import Approach
from coupage.web.coffees.queries import approaches, lots
from coupage.web.common.charts import Composition, Part, ProfileChart, ProfileRow
from coupage.web.cuppings.beliefs import beliefs_now
from coupage.web.cuppings.columns import component_name

__all__ = ["ChoicePage", "Line", "choice_page"]

LONGEST_S = 25.0
SHOWN = 10
FRONT_SHOWN = 8


@dataclass(frozen=True, slots=True)
class Line:
    """One recipe of the list, ready to be shown and to be taken."""

    rank: int
    text: str
    shares: tuple[tuple[int, int], ...]  # approach, parts per million
    chance: str
    desirability: str
    cost: str
    weakest: str


@dataclass(frozen=True, slots=True)
class ChoicePage:
    sentence: str
    note: str
    problem: str
    clashing: tuple[str, ...]
    lines: tuple[Line, ...]
    front: tuple[Line, ...]
    picture: ProfileChart | None
    composition: Composition | None
    why: tuple[str, ...]
    how: str
    blends: tuple[Blend, ...]


def _nothing(problem: str, clashing: tuple[str, ...] = ()) -> ChoicePage:
    return ChoicePage(
        sentence="No recipe can be chosen yet.",
        note="",
        problem=problem,
        clashing=clashing,
        lines=(),
        front=(),
        picture=None,
        composition=None,
        why=(),
        how="",
        blends=(),
    )


def choice_page(
    brief: Brief, *, step: float, coffees: list[Approach], in_stock: bool, currency: str
) -> ChoicePage:
    """Search all recipes on the step and say which is best, how sure, and why."""
    beliefs = beliefs_now()
    if beliefs is None:
        return _nothing("Nothing was cupped yet: hold a table with these coffees and reveal it.")
    candidates = _candidates(coffees, in_stock)
    if not candidates:
        return _nothing(
            "No coffee is left to choose from: tick others, or allow coffees that are not on hand."
        )
    try:
        found = _search(brief, beliefs, list(candidates), step)
    except InfeasibleError as error:
        return _nothing(f"{error}.", error.clashing)
    except InputError as error:
        return _nothing(f"{error}.")
    return _answer(brief, beliefs, found, candidates, currency)


def _candidates(coffees: list[Approach], in_stock: bool) -> dict[str, Approach]:
    offered = coffees or list(approaches())
    if in_stock:
        there = set(lots().filter(on_hand_g__gt=0).values_list("pk", flat=True))
        offered = [approach for approach in offered if approach.lot_id in there]
    return {component_name(approach): approach for approach in offered}


def _search(brief: Brief, beliefs: Beliefs, names: list[str], step: float) -> Search:
    costs = costs_now().per_kg()
    priced = all(name in costs for name in names)
    if brief.cost_cap is not None and not priced:
        missing = ", ".join(name for name in names if name not in costs)
        raise InputError(f"the brief has a cost cap, but there is no price for {missing}")
    until = time.monotonic() + LONGEST_S
    return search(
        room_brief(brief),
        beliefs,
        step=step,
        region=Region(names),
        cost_per_kg={name: costs[name] for name in names} if priced else None,
        top=SHOWN,
        front=priced,
        progress=lambda _done: time.monotonic() < until,
    )


def _answer(
    brief: Brief,
    beliefs: Beliefs,
    found: Search,
    candidates: dict[str, Approach],
    currency: str,
) -> ChoicePage:
    best = found.choices[0]
    lines = tuple(
        _line(i, choice, brief, beliefs, candidates, currency)
        for i, choice in enumerate(found.choices, 1)
    )
    current, name = _in_service(brief)
    return ChoicePage(
        sentence=f"{_words(best.recipe)} is on brief with a chance of {100 * best.chance:.0f} %.",
        note=_against_service(brief, beliefs, best, current, name),
        problem="",
        clashing=(),
        lines=lines,
        front=tuple(
            _line(i, choice, brief, beliefs, candidates, currency)
            for i, choice in enumerate(_worth_a_look(found.front), 1)
        ),
        picture=_picture(brief, beliefs, best, current, name),
        composition=_composition(best.recipe),
        why=_why(brief, beliefs, found),
        how=_how(found),
        blends=tuple(Blend.objects.filter(archived=False)),
    )


def _line(
    rank: int,
    choice: Choice,
    brief: Brief,
    beliefs: Beliefs,
    candidates: dict[str, Approach],
    currency: str,
) -> Line:
    parts = whole_shares(list(choice.recipe.values()))
    served = serve(brief, beliefs, choice.recipe)
    weakest = served.weakest if served else None
    return Line(
        rank=rank,
        text=_words(choice.recipe),
        shares=tuple(
            (candidates[name].pk, ppm) for name, ppm in zip(choice.recipe, parts, strict=True)
        ),
        chance=f"{100 * choice.chance:.1f} %",
        desirability=f"{choice.desirability:.2f}",
        cost="–" if choice.cost is None else f"{choice.cost:.2f} {currency}",
        weakest=f"{weakest.text}: {100 * weakest.chance:.0f} %" if weakest else "–",
    )


def _words(recipe: dict[str, float]) -> str:
    parts = whole_shares(list(recipe.values()))
    said = [f"{show_share(ppm)} {name}" for name, ppm in zip(recipe, parts, strict=True)]
    return said[0] if len(said) == 1 else f"{', '.join(said[:-1])} and {said[-1]}"


def _in_service(brief: Brief) -> tuple[dict[str, float], str]:
    for blend in queries.blends().filter(brief=brief, archived=False):
        recipe = queries.recipe_in_service(blend)
        if recipe is not None:
            return shares_of(recipe), f"{blend.name}, in service"
    return {}, ""


def _against_service(
    brief: Brief, beliefs: Beliefs, best: Choice, current: dict[str, float], name: str
) -> str:
    served = serve(brief, beliefs, current)
    if served is None:
        return ""
    if current == best.recipe:
        return f"It is what {name} is made by already."
    return f"{name} has {100 * served.chance:.0f} %."


def _picture(
    brief: Brief, beliefs: Beliefs, best: Choice, current: dict[str, float], name: str
) -> ProfileChart:
    best_served, served = serve(brief, beliefs, best.recipe), serve(brief, beliefs, current)
    ranges = wanted(brief)
    profiles = [p.profile for p in (best_served, served) if p is not None]
    return ProfileChart(
        rows=tuple(
            ProfileRow(
                attribute,
                tuple(profile[attribute] for profile in profiles),
                wanted=ranges.get(attribute, (None, None)),
            )
            for attribute in beliefs.attributes
        ),
        series=("the best", *((name,) if served is not None else ())),
        caption="Believed taste against the brief",
    )


def _composition(recipe: dict[str, float]) -> Composition:
    return Composition(
        tuple(Part(name, share, slot) for slot, (name, share) in enumerate(recipe.items(), 1)),
        label="The best recipe",
    )


def _why(brief: Brief, beliefs: Beliefs, found: Search) -> tuple[str, ...]:
    """Say what limits the best recipe, and what sets it apart from the next."""
    best = found.choices[0]
    said = []
    served = serve(brief, beliefs, best.recipe)
    weakest = served.weakest if served else None
    if weakest is not None:
        said.append(
            f"Least sure is {weakest.text}: {100 * weakest.chance:.0f} %. "
            "Tasting it more, or a coffee that has more of it, helps most."
        )
    if len(found.choices) > 1:
        behind = 100 * (best.chance - found.choices[1].chance)
        gap = f"{behind:.1f} points" if behind >= 0.05 else "less than 0.1 points"
        said.append(f"The next best, {_words(found.choices[1].recipe)}, is {gap} behind.")
    cheaper = _worth_a_look(found.front)
    if len(cheaper) > 1:
        least = cheaper[0]
        saved = (best.cost or 0) - (least.cost or 0)
        said.append(
            f"The cheapest worth a look, {_words(least.recipe)}, saves {saved:.2f} a kg and has "
            f"{100 * least.chance:.0f} %."
        )
    return tuple(said)


def _worth_a_look(front: tuple[Choice, ...]) -> list[Choice]:
    """Thin the front to steps of chance that a roaster would weigh against the cost.

    Recipes with less than half the best chance are no alternative. Of the others the cheapest of
    every step is kept, and the best of all.
    """
    if not front:
        return []
    best = front[-1]
    step = best.chance / (2 * FRONT_SHOWN)
    kept: list[Choice] = []
    for choice in front:
        if choice.chance >= best.chance / 2 and (
            not kept or choice.chance >= kept[-1].chance + step
        ):
            kept.append(choice)
    if kept and kept[-1] is not best:
        kept[-1 if kept[-1].chance > best.chance - step else len(kept) :] = [best]
    return kept


def _how(found: Search) -> str:
    covered = f"{found.recipes:,}".replace(",", " ")
    weighed = f"{found.weighed:,}".replace(",", " ")
    end = (
        "No recipe on this step has a higher chance."
        if found.proven
        else "The search was stopped before its end: these are the best of those covered."
    )
    return (
        f"All {covered} recipes on the step of {100 * found.step:g} % were covered: {weighed} by "
        f"their exact chance, the others by a proven bound. {end}"
    )
