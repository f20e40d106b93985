"""Choose the recipes that serve a brief best, of all recipes on a step."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from coupage.errors import InputError
from coupage.recipe.bounds import Event
from coupage.recipe.brief import Brief
from coupage.recipe.desirability import chance_on_brief, check_attributes
from coupage.recipe.engine import Engine
from coupage.recipe.limits import Limits, gather_limits
from coupage.recipe.posterior import MixtureBeliefs, Posterior, read_posterior
from coupage.recipe.ranking import Found, Front, Ranking

if TYPE_CHECKING:
    from coupage.mixture import Region

__all__ = ["Choice", "Search", "choose", "search"]

Floats = NDArray[np.float64]
PerCoffee = Mapping[str, float | int | Decimal]


@dataclass(frozen=True, slots=True)
class Choice:
    """A recipe and what is believed of it.

    Attributes
    ----------
    recipe
        Share of each coffee in the cup, largest first.
    chance
        Chance that it is on brief.
    desirability
        Desirability of its mean profile, 0 to 1.
    cost
        Cost of the coffee per roasted kilogram; None when no costs were given.
    profile
        Posterior mean of each attribute of the brief.
    """

    recipe: dict[str, float]
    chance: float
    desirability: float
    cost: float | None
    profile: dict[str, float]


@dataclass(frozen=True, slots=True)
class Search:
    """All that a choice found out.

    Attributes
    ----------
    brief, step
        As asked.
    choices
        The best recipes: by chance, then desirability, then cost.
    front
        Recipes that no other beats in both chance and cost, cheapest first; empty unless asked.
    recipes
        How many recipes on the step were covered.
    weighed
        How many of them needed their exact chance; a bound settled the others.
    proven
        False when it was stopped before the end: then these are the best of those covered.
    """

    brief: Brief
    step: float
    choices: tuple[Choice, ...]
    front: tuple[Choice, ...]
    recipes: int
    weighed: int
    proven: bool


def choose(
    brief: Brief,
    beliefs: MixtureBeliefs,
    *,
    step: float = 0.05,
    region: Region | None = None,
    cost_per_kg: PerCoffee | None = None,
    stock_kg: PerCoffee | None = None,
    batch_kg: float | None = None,
    top: int = 10,
    exclusive: Iterable[Iterable[str]] = (),
    one_lasts: Iterable[PerCoffee] = (),
    same_chance: float = 1e-9,
    progress: Callable[[float], object] | None = None,
    workers: int = 1,
) -> list[Choice]:
    """Find the best recipes of all on the step.

    Exact: every recipe is covered, most by a proven upper bound of its chance, the rest by the
    closed form (see :mod:`coupage.recipe.engine` and :mod:`coupage.recipe.majorants`). The same
    call gives the same list.

    Parameters
    ----------
    brief
        Wants and limits.
    beliefs
        What the panel model knows (``coupage.panel.Beliefs``).
    step
        Shares are multiples of it; a whole number of steps must make 1.
    region
        Limits on shares and groups of coffees. Only the coffees it names are candidates; without
        it every component of the beliefs is.
    cost_per_kg
        Cost of each candidate per roasted kilogram (``coupage.cost.component_costs``).
    stock_kg, batch_kg
        Roasted kilograms there are of each candidate, and kilograms of blend wanted: no recipe
        takes more of a coffee than there is.
    top
        Length of the list.
    exclusive
        Sets of candidates of which at most one may be in the cup, such as the approaches of one
        lot.
    one_lasts
        Sets of candidates with what a whole share of each uses of what there is of them (1: all of
        it), one set for each lot, say: at least one set must be in the cup and last.
    same_chance
        Chances are ranked as multiples of this; within it desirability decides, then cost, then
        fewer coffees.
    progress
        Called with the share of recipes covered; return False to stop early.
    workers
        Threads that share the work; the list is the same for any number.

    Returns
    -------
    list of Choice

    Raises
    ------
    InputError
        When an argument cannot be used.
    InfeasibleError
        When no recipe on the step obeys all limits; it names a smallest set that clashes.
    """
    return list(
        search(
            brief,
            beliefs,
            step=step,
            region=region,
            cost_per_kg=cost_per_kg,
            stock_kg=stock_kg,
            batch_kg=batch_kg,
            top=top,
            exclusive=exclusive,
            one_lasts=one_lasts,
            same_chance=same_chance,
            progress=progress,
            workers=workers,
        ).choices
    )


def search(
    brief: Brief,
    beliefs: MixtureBeliefs,
    *,
    step: float = 0.05,
    region: Region | None = None,
    cost_per_kg: PerCoffee | None = None,
    stock_kg: PerCoffee | None = None,
    batch_kg: float | None = None,
    top: int = 10,
    exclusive: Iterable[Iterable[str]] = (),
    one_lasts: Iterable[PerCoffee] = (),
    same_chance: float = 1e-9,
    front: bool = False,
    progress: Callable[[float], object] | None = None,
    workers: int = 1,
) -> Search:
    """Choose as :func:`choose` does, and tell more.

    With ``front`` (it needs ``cost_per_kg``) also every recipe that no other beats in both chance
    and cost; as exact as the list.
    """
    if top != int(top) or top < 1:
        raise InputError(f"top: {top} must be a whole number, 1 or more")
    if not 0 < same_chance <= 0.1:
        raise InputError(f"same_chance: {same_chance} must be more than 0 and at most 0.1")
    if front and cost_per_kg is None:
        raise InputError("front: chance against cost needs cost_per_kg=")
    task = prepare(
        brief,
        beliefs,
        step=step,
        region=region,
        cost_per_kg=cost_per_kg,
        stock_kg=stock_kg,
        batch_kg=batch_kg,
        exclusive=exclusive,
        one_lasts=one_lasts,
    )
    if workers != int(workers) or workers < 1:
        raise InputError(f"workers: {workers} must be a whole number of threads, 1 or more")
    engine = solve(
        task,
        task.limits,
        int(top),
        same_chance,
        front=front,
        progress=progress,
        workers=int(workers),
    )
    return Search(
        brief=brief,
        step=step,
        choices=describe(task, engine.ranking.found),
        front=() if engine.front is None else describe(task, engine.front.found),
        recipes=engine.considered,
        weighed=engine.weighed,
        proven=not engine.stopped,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Task:
    """A choice with its limits and beliefs read."""

    brief: Brief
    beliefs: MixtureBeliefs
    limits: Limits
    posteriors: dict[str, Posterior]
    events: list[Event]


def prepare(
    brief: Brief,
    beliefs: MixtureBeliefs,
    *,
    step: float,
    region: Region | None,
    cost_per_kg: PerCoffee | None,
    stock_kg: PerCoffee | None,
    batch_kg: float | None,
    exclusive: Iterable[Iterable[str]],
    one_lasts: Iterable[PerCoffee] = (),
) -> Task:
    """Read the limits and beliefs of a choice, and refuse limits that clash."""
    check_attributes(brief, beliefs)
    limits = gather_limits(
        brief,
        beliefs.components,
        step=step,
        region=region,
        cost_per_kg=cost_per_kg,
        stock_kg=stock_kg,
        batch_kg=batch_kg,
        exclusive=exclusive,
        one_lasts=one_lasts,
    )
    limits.refuse_if_empty()
    posteriors = {a: read_posterior(beliefs, a, limits.places) for a in brief.attributes}
    events = [Event(a, low, high, posteriors[a]) for a, (low, high) in brief.events.items()]
    return Task(brief, beliefs, limits, posteriors, events)


def solve(
    task: Task,
    limits: Limits,
    top: int,
    same_chance: float,
    *,
    front: bool = False,
    progress: Callable[[float], object] | None = None,
    workers: int = 1,
    start: Found | None = None,
) -> Engine:
    """Run the engine under ``limits``; ``start`` are recipes that are allowed and known already."""
    nothing = Found.none(len(limits.names))
    ranking = Ranking(top, same_chance, nothing if start is None else start)
    stairs = None
    if front and limits.cost is not None:
        stairs = Front.over(limits.cost.min(), limits.cost.max(), len(limits.names))
    engine = Engine(
        task.brief, limits, task.posteriors, list(task.events), ranking, stairs, progress, workers
    )
    engine.run()
    return engine


def describe(task: Task, found: Found) -> tuple[Choice, ...]:
    """Tell recipes as choices, with their official chance."""
    limits, beliefs = task.limits, task.beliefs
    x = np.zeros((len(found), len(beliefs.components)))
    x[:, limits.places] = found.steps / limits.parts
    chances = chance_on_brief(task.brief, beliefs, x) if len(found) else np.zeros(0)
    means = _means(task, found)
    return tuple(
        Choice(
            recipe=_recipe(limits, found.steps[n]),
            chance=float(chances[n]),
            desirability=float(found.desirability[n]),
            cost=None if limits.cost is None else float(found.cost[n]),
            profile={attribute: float(mean[n]) for attribute, mean in means.items()},
        )
        for n in range(len(found))
    )


def _means(task: Task, found: Found) -> dict[str, Floats]:
    """Posterior mean of each attribute of the brief for each recipe."""
    shares = found.steps / task.limits.parts
    first, second = np.triu_indices(shares.shape[1], 1)
    pairs = shares[:, first] * shares[:, second]
    return {
        a: shares @ p.mean[np.diagonal(p.place)] + pairs @ p.mean[p.place[first, second]]
        for a, p in task.posteriors.items()
    }


def _recipe(limits: Limits, steps: NDArray[np.int64]) -> dict[str, float]:
    inside = [int(i) for i in np.lexsort((np.arange(len(steps)), -steps)) if steps[i] > 0]
    return {limits.names[i]: float(steps[i] / limits.parts) for i in inside}
