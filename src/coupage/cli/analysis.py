"""What two files and a brief say, worked out once for the text and for the data."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from coupage.cli.briefs import BriefFile
from coupage.cli.tables import Tables
from coupage.cost import CostCard, component_costs, roasted_cost
from coupage.errors import InfeasibleError, InputError
from coupage.panel import Belief, Beliefs, Comparison, JointComparison, Spread, TasterReport, fit

if TYPE_CHECKING:
    from coupage.recipe import Choice

__all__ = ["Analysis", "BriefAnswer", "Pair", "Served", "Tasted", "analyse"]

_ALL_PAIRS_UP_TO = 12
Recipe = Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Tasted:
    """A recipe that stood on the table, the samples that were of it, and its profile."""

    recipe: Recipe
    samples: tuple[str, ...]
    profile: Mapping[str, Belief]


@dataclass(frozen=True, slots=True)
class Pair:
    """Two samples, the first minus the second."""

    a: str
    b: str
    same_recipe: bool
    comparisons: Mapping[str, Comparison]
    joint: JointComparison


@dataclass(frozen=True, slots=True)
class Served:
    """How a recipe that was tasted serves the brief; cost per roasted kilogram if it is known."""

    tasted: Tasted
    chance: float
    desirability: float
    cost: float | None


@dataclass(frozen=True, slots=True)
class BriefAnswer:
    """The brief, the recipes that serve it best, and how those on the table do.

    ``profiles`` belong to ``choices``; ``best_chances`` says per attribute how surely the best
    recipe meets its must-haves; ``clash`` says why there is no recipe at all.
    """

    file: BriefFile
    choices: Sequence[Choice]
    profiles: Sequence[Mapping[str, Belief]]
    served: Sequence[Served]
    best_chances: Mapping[str, float]
    card: CostCard | None
    clash: str = ""


@dataclass(frozen=True, slots=True)
class Analysis:
    """Everything that was asked of the files."""

    tables: Tables
    beliefs: Beliefs
    tolerance: Mapping[str, float]
    seed: int
    tasted: Sequence[Tasted]
    pairs: Sequence[Pair]
    spread: Mapping[str, Spread]
    tasters: Sequence[TasterReport]
    brief: BriefAnswer | None = None
    notes: Sequence[str] = field(default_factory=tuple)


def analyse(
    tables: Tables,
    brief: BriefFile | None,
    *,
    tolerance: Mapping[str, float],
    reference: str | None = None,
    age_days: float = 7.0,
    seed: int = 0,
    top: int = 5,
) -> Analysis:
    """Fit the panel and answer.

    ``tolerance`` by attribute; the key ``""`` holds for those that are not named.

    Raises
    ------
    InputError
        When a name is unknown or the brief cannot be met by any recipe.
    """
    limits = _tolerances(tolerance, tables.attributes)
    extra: tuple[str, ...] = ()
    if brief is not None:
        brief.check_against(tables.attributes, tables.components)
        extra = tuple(name for name in brief.coffees if name not in tables.components)
    if reference is not None and reference not in tables.made_of:
        raise InputError(
            f"--reference: there is no sample {reference!r}; there are "
            f"{', '.join(list(tables.made_of)[:12])}"
        )
    beliefs = fit(
        tables.ratings,
        tables.samples,
        reference_age=age_days,
        seed=seed,
        extra_components=extra,
    )
    tasted = _tasted(tables, beliefs)
    pairs, notes = _pairs(tables, beliefs, limits, reference)
    return Analysis(
        tables=tables,
        beliefs=beliefs,
        tolerance=limits,
        seed=seed,
        tasted=tasted,
        pairs=pairs,
        spread=beliefs.spread(),
        tasters=beliefs.tasters(),
        brief=None if brief is None else _answer(brief, beliefs, tasted, top),
        notes=(*tables.notes, *beliefs.notes, *notes),
    )


def _tolerances(given: Mapping[str, float], attributes: Sequence[str]) -> dict[str, float]:
    for name in given:
        if name and name not in attributes:
            raise InputError(
                f"--tolerance: {name!r} was not rated; there are {', '.join(attributes)}"
            )
    return {name: given.get(name, given.get("", 1.0)) for name in attributes}


def _tasted(tables: Tables, beliefs: Beliefs) -> list[Tasted]:
    """Each recipe once; straight coffees first, as they come in the file."""
    rated = set(tables.ratings["sample"])
    by_recipe: dict[tuple[tuple[str, float], ...], list[str]] = {}
    for name, recipe in tables.made_of.items():
        if name in rated:
            by_recipe.setdefault(_key(recipe), []).append(name)
    ordered = sorted(by_recipe.items(), key=lambda item: len(item[0]) > 1)
    return [Tasted(dict(key), tuple(names), beliefs.profile(dict(key))) for key, names in ordered]


def _key(recipe: Recipe) -> tuple[tuple[str, float], ...]:
    parts = ((name, round(share, 9)) for name, share in recipe.items() if share > 0)
    return tuple(sorted(parts, key=lambda part: (-part[1], part[0])))


def _pairs(
    tables: Tables, beliefs: Beliefs, tolerance: Mapping[str, float], reference: str | None
) -> tuple[list[Pair], list[str]]:
    rated = set(tables.ratings["sample"])
    names = [name for name in tables.made_of if name in rated]
    notes = []
    keys = {name: _key(tables.made_of[name]) for name in tables.made_of}
    every = [(a, b, keys[a] == keys[b]) for a, b in combinations(names, 2)]
    if reference is not None:
        chosen = [p for p in every if p[2] and reference not in p[:2]]
        chosen += [(n, reference, keys[n] == keys[reference]) for n in names if n != reference]
    elif len(names) <= _ALL_PAIRS_UP_TO:
        chosen = every
    else:
        chosen = [p for p in every if p[2]]
        notes.append(
            f"{len(names)} samples make {len(every)} pairs; only those of one recipe were "
            "compared: name a --reference to compare every sample with it"
        )
    # What one recipe's batches do is the roaster's first question.
    chosen.sort(key=lambda pair: not pair[2])
    return [_pair(beliefs, a, b, same, tolerance) for a, b, same in chosen], notes


def _pair(beliefs: Beliefs, a: str, b: str, same: bool, tolerance: Mapping[str, float]) -> Pair:
    return Pair(a, b, same, beliefs.compare(a, b, tolerance), beliefs.joint(a, b, tolerance))


def _answer(file: BriefFile, beliefs: Beliefs, tasted: Sequence[Tasted], top: int) -> BriefAnswer:
    from coupage.recipe import chance_on_brief, desirability

    names = beliefs.components
    costs = _costs(file)
    clash = ""
    try:
        choices = _choose(file, beliefs, costs, top)
    except InfeasibleError as error:
        choices, clash = [], str(error)
    served = []
    for one in tasted:
        x = _row(one.recipe, names)
        means = {a: b.mean for a, b in one.profile.items()}
        served.append(
            Served(
                one,
                float(chance_on_brief(file.brief, beliefs, x)[0]),
                desirability(file.brief, means),
                _cost(one.recipe, costs),
            )
        )
    best: dict[str, float] = {}
    card = None
    if choices:
        x = _row(choices[0].recipe, names)
        for attribute, (low, high) in file.brief.events.items():
            best[attribute] = float(beliefs.chance_between(x, attribute, low, high)[0])
        card = _card(choices[0].recipe, file)
    served.sort(key=lambda one: -one.chance)
    profiles = [beliefs.profile(choice.recipe) for choice in choices]
    return BriefAnswer(file, choices, profiles, served, best, card, clash)


def _choose(
    file: BriefFile, beliefs: Beliefs, costs: Mapping[str, float] | None, top: int
) -> list[Choice]:
    from coupage.mixture import Region
    from coupage.recipe import choose

    names, coffees = beliefs.components, file.coffees
    known = costs if costs is not None and all(name in costs for name in names) else None
    if file.brief.cost_cap is not None and known is None:
        missing = [n for n in names if n not in (costs or {})]
        raise InputError(
            f"{file.filename}: key cost_cap: needs the price of every coffee; add "
            f'[coffee."{missing[0]}"] with green_price and loss'
        )
    stock = {n: c.stock_kg for n, c in coffees.items() if c.stock_kg is not None}
    if stock and file.batch_kg is None:
        raise InputError(f"{file.filename}: key batch_kg: is needed beside stock_kg; add it")
    batch = file.batch_kg or 0
    return choose(
        file.brief,
        beliefs,
        step=float(file.step),
        region=Region(
            names,
            {n: float(c.least) for n, c in coffees.items()},
            {n: float(c.most) for n, c in coffees.items()},
        ),
        cost_per_kg=known,
        # A coffee whose stock is not named is not short.
        stock_kg={n: stock.get(n, batch) for n in names} if stock else None,
        batch_kg=float(batch) if stock else None,
        top=top,
    )


def _row(recipe: Recipe, names: Sequence[str]) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    return np.array([[recipe.get(name, 0.0) for name in names]], dtype=np.float64)


def _costs(file: BriefFile) -> dict[str, float] | None:
    """Whole cost of a roasted kilogram of each coffee that has a price."""
    priced = {n: c for n, c in file.coffees.items() if c.green_price is not None}
    if not priced:
        return None
    other = float(sum(file.costs.values()))
    coffee = component_costs(
        {n: c.green_price for n, c in priced.items() if c.green_price is not None},
        {n: c.loss for n, c in priced.items() if c.loss is not None},
        freight={n: c.freight for n, c in priced.items()},
    )
    return {name: float(cost) + other for name, cost in coffee.items()}


def _cost(recipe: Recipe, costs: Mapping[str, float] | None) -> float | None:
    if costs is None or any(name not in costs for name in recipe):
        return None
    return sum(share * costs[name] for name, share in recipe.items())


def _card(recipe: Recipe, file: BriefFile) -> CostCard | None:
    inside = {name: file.coffees.get(name) for name, share in recipe.items() if share > 0}
    prices, losses, freight = {}, {}, {}
    for name, coffee in inside.items():
        if coffee is None or coffee.green_price is None or coffee.loss is None:
            return None
        prices[name], losses[name], freight[name] = (
            coffee.green_price,
            coffee.loss,
            coffee.freight,
        )
    shares = {name: round(recipe[name], 9) for name in inside}
    return roasted_cost(shares, prices, losses, freight=freight, **dict(file.costs))
