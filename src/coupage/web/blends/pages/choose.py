"""Which proportions serve the brief best: the search and its answer."""

from __future__ import annotations

import time
from collections.abc import Iterable
from dataclasses import dataclass
from urllib.parse import urlencode

from coupage.errors import InfeasibleError, InputError
from coupage.panel import Beliefs
from coupage.recipe import Choice, Search, search, worth_of_tasting
from coupage.units import PPM, whole_shares
from coupage.web.blends import queries
from coupage.web.blends.costs import costs_now
from coupage.web.blends.limits import lasts_of, region_of
from coupage.web.blends.models import Blend, Brief
from coupage.web.blends.pages.brief import wanted
from coupage.web.blends.pages.parts import made_of, profiles
from coupage.web.blends.serving import WantChance, room_brief, serve, shares_of
from coupage.web.blends.stock import stock_now
from coupage.web.blends.written import write_recipe
from coupage.web.coffees.models import Approach
from coupage.web.coffees.queries import approaches, lots
from coupage.web.common.charts import Composition, Part, ProfileChart
from coupage.web.common.feedback import sentence
from coupage.web.cuppings.beliefs import beliefs_now
from coupage.web.cuppings.columns import component_name
from coupage.web.cuppings.pages.said import chance_text

__all__ = ["ChoicePage", "Line", "choice_page"]

LONGEST_S = 25.0
# Array work lets go of the interpreter, so two threads share a choice among many coffees.
WORKERS = 2
SHOWN = 10
FRONT_SHOWN = 8
WORTH_IT = 0.01
# A plan of trials takes so many coffees.
MOST_ASKED = 10


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
    link: str


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
    worth: str
    taste: str
    blends: tuple[Blend, ...]


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
        found = _search(brief, beliefs, candidates, step)
    except InfeasibleError as error:
        return _nothing(sentence(error), error.clashing)
    except InputError as error:
        return _nothing(sentence(error))
    return _Answer(brief, beliefs, candidates, currency).page(found)


def _nothing(problem: str, clashing: tuple[str, ...] = ()) -> ChoicePage:
    return ChoicePage(
        sentence="No recipe keeps all limits." if clashing else "No recipe can be chosen yet.",
        note="",
        problem=problem,
        clashing=clashing,
        lines=(),
        front=(),
        picture=None,
        composition=None,
        why=(),
        how="",
        worth="",
        taste="",
        blends=(),
    )


def _candidates(coffees: list[Approach], in_stock: bool) -> dict[str, Approach]:
    offered = coffees or list(approaches())
    if in_stock:
        there = set(lots().filter(on_hand_g__gt=0).values_list("pk", flat=True))
        offered = [approach for approach in offered if approach.lot_id in there]
    return {component_name(approach): approach for approach in offered}


def _search(brief: Brief, beliefs: Beliefs, candidates: dict[str, Approach], step: float) -> Search:
    costs = costs_now()
    per_kg = costs.per_kg()
    priced = all(name in per_kg for name in candidates)
    if brief.cost_cap is not None and not priced:
        missing = ", ".join(name for name in candidates if name not in per_kg)
        raise InputError(
            f"the brief has a cost cap, but there is no price for {missing}; give it one on the "
            "page of its lot, or leave it out below"
        )
    lasts = lasts_of(brief, candidates, stock_now(costs.loss), queries.weekly_kg(brief))
    until = time.monotonic() + LONGEST_S
    return search(
        room_brief(brief),
        beliefs,
        step=step,
        region=region_of(brief, candidates, lasts.every),
        cost_per_kg={name: per_kg[name] for name in candidates} if priced else None,
        one_lasts=lasts.one,
        top=SHOWN,
        front=priced,
        progress=lambda _done: time.monotonic() < until,
        workers=WORKERS,
    )


@dataclass(frozen=True, slots=True)
class _Answer:
    """What a search found, in words: for this brief, from these beliefs and coffees."""

    brief: Brief
    beliefs: Beliefs
    candidates: dict[str, Approach]
    currency: str

    def page(self, found: Search) -> ChoicePage:
        best = found.choices[0]
        current, name = self._in_service()
        return ChoicePage(
            sentence=(
                f"{self._words(best)} is on brief with a chance of {chance_text(best.chance)}."
            ),
            note=self._against_service(best, current, name),
            problem="",
            clashing=(),
            lines=self._lines(found.choices),
            front=self._lines(_worth_a_look(found.front)),
            picture=self._picture(best, current, name),
            composition=Composition(
                tuple(
                    Part(str(approach), ppm / PPM, slot)
                    for slot, (approach, ppm) in enumerate(self._shares(best), 1)
                ),
                label="The best recipe",
            ),
            why=self._why(found),
            how=_how(found),
            worth=self._worth(found),
            taste=self._taste(found),
            blends=tuple(Blend.objects.filter(archived=False)),
        )

    def _worth(self, found: Search) -> str:
        """Say what tasting more could still add, or that it would no longer change the choice."""
        recipes = [choice.recipe for choice in (*found.choices, *found.front)]
        few = self.beliefs.restrict(sorted({name for recipe in recipes for name in recipe}))
        worth = worth_of_tasting(room_brief(self.brief), few, recipes)
        if worth.gain < WORTH_IT:
            return (
                "Tasting more would no longer change the choice: who knew every taste for sure "
                f"would gain less than {100 * WORTH_IT:g} point among these recipes."
            )
        rival = made_of(self._parts(recipes[worth.rival]))
        return (
            f"Tasting more may still change the choice: who knew every taste for sure could have "
            f"{chance_text(worth.known)} among these recipes instead of {chance_text(worth.now)}, "
            f"most often with {rival}."
        )

    def _taste(self, found: Search) -> str:
        """Write the question of the next trial: this brief, the coffees that may win."""
        keys: dict[int, None] = {}
        for choice in found.choices:
            for name in choice.recipe:
                keys.setdefault(self.candidates[name].pk)
        coffees = list(keys)[:MOST_ASKED]
        return urlencode({"brief": self.brief.pk, "coffees": coffees}, doseq=True)

    def _lines(self, choices: Iterable[Choice]) -> tuple[Line, ...]:
        return tuple(self._line(rank, choice) for rank, choice in enumerate(choices, 1))

    def _line(self, rank: int, choice: Choice) -> Line:
        weakest = self._weakest(choice)
        return Line(
            rank=rank,
            text=self._words(choice),
            shares=tuple((approach.pk, ppm) for approach, ppm in self._shares(choice)),
            chance=f"{100 * choice.chance:.1f} %",
            desirability=f"{choice.desirability:.2f}",
            cost="–" if choice.cost is None else f"{choice.cost:.2f} {self.currency}",
            weakest=f"{weakest.text}: {chance_text(weakest.chance)}" if weakest else "–",
            link=write_recipe(dict(self._shares(choice))),
        )

    def _shares(self, choice: Choice) -> list[tuple[Approach, int]]:
        return self._parts(choice.recipe)

    def _parts(self, recipe: dict[str, float]) -> list[tuple[Approach, int]]:
        parts = whole_shares(list(recipe.values()))
        return [(self.candidates[n], ppm) for n, ppm in zip(recipe, parts, strict=True)]

    def _words(self, choice: Choice) -> str:
        return made_of(self._shares(choice))

    def _weakest(self, choice: Choice) -> WantChance | None:
        served = serve(self.brief, self.beliefs, choice.recipe)
        return served.weakest if served else None

    def _in_service(self) -> tuple[dict[str, float], str]:
        for blend in queries.blends().filter(brief=self.brief, archived=False):
            recipe = queries.recipe_in_service(blend)
            if recipe is not None:
                return shares_of(recipe), f"{blend.name}, version {recipe.version}, in service"
        return {}, ""

    def _against_service(self, best: Choice, current: dict[str, float], name: str) -> str:
        served = serve(self.brief, self.beliefs, current)
        if served is None:
            return ""
        if current == best.recipe:
            return f"It is what {name}, is made of already."
        return f"{name}, has {chance_text(served.chance)}."

    def _picture(self, best: Choice, current: dict[str, float], name: str) -> ProfileChart:
        shown = {"the best": best.recipe, name: current}
        drawn = [
            (title, served.profile)
            for title, recipe in shown.items()
            if (served := serve(self.brief, self.beliefs, recipe)) is not None
        ]
        return profiles(drawn, wanted(self.brief))

    def _why(self, found: Search) -> tuple[str, ...]:
        """Say what limits the best recipe, and what sets it apart from the next."""
        best = found.choices[0]
        reasons = []
        weakest = self._weakest(best)
        if weakest is not None:
            reasons.append(
                f"Least sure is {weakest.text}: {chance_text(weakest.chance)}. "
                "Tasting it more, or a coffee that has more of it, helps most."
            )
        if len(found.choices) > 1:
            following = found.choices[1]
            behind = 100 * (best.chance - following.chance)
            gap = f"{behind:.1f} points" if behind >= 0.05 else "less than 0.1 points"
            reasons.append(f"The next best, {self._words(following)}, is {gap} behind.")
        cheaper = _worth_a_look(found.front)
        if len(cheaper) > 1:
            least = cheaper[0]
            saved = (best.cost or 0) - (least.cost or 0)
            reasons.append(
                f"The cheapest worth a look, {self._words(least)}, saves {saved:.2f} "
                f"{self.currency} a kg and has {chance_text(least.chance)}."
            )
        return tuple(reasons)


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
