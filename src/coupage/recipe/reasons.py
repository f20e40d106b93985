"""Why the best recipe is the best, and what each limit costs.

The price of a limit is found by choosing again with that limit one step looser: what the chance
would rise to. That is a shadow price in words a roaster can act on, and, shares being whole steps,
the only kind that is exact.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np

from coupage.recipe.brief import Brief
from coupage.recipe.choosing import Choice, Task, describe, prepare, solve
from coupage.recipe.limits import ONE_LASTS, Limits
from coupage.recipe.posterior import MixtureBeliefs
from coupage.recipe.ranking import Found

if TYPE_CHECKING:
    from coupage.mixture import Region

__all__ = ["LimitPrice", "WantChance", "Why", "why"]

PerCoffee = Mapping[str, float | int | Decimal]

# Another coffee in the cup multiplies the recipes; beyond this many it is not tried unasked.
_MOST_RECIPES = 20_000_000
_COST_LOOSER = 0.05


@dataclass(frozen=True, slots=True)
class WantChance:
    """One attribute that counts for "on brief": its range, and the chance of it alone.

    ``best`` is the highest chance of it that any allowed recipe has.
    """

    attribute: str
    low: float
    high: float
    mean: float
    chance: float
    best: float


@dataclass(frozen=True, slots=True)
class LimitPrice:
    """What the chance would be with one limit a little looser.

    Attributes
    ----------
    limit, looser
        The limit, and what it was loosened to, in words.
    gain
        By how much the chance of the best recipe rises; 0 when the limit costs nothing.
    choice
        The best recipe then.
    """

    limit: str
    looser: str
    gain: float
    choice: Choice


@dataclass(frozen=True, slots=True)
class Why:
    """The best recipe, its wants with the weakest first, and its limits with the dearest first.

    ``untried`` names limits whose price would take too long to work out.
    """

    choice: Choice
    wants: tuple[WantChance, ...]
    limits: tuple[LimitPrice, ...]
    untried: tuple[str, ...]

    @property
    def sentences(self) -> tuple[str, ...]:
        """The same in words."""
        weakest = self.wants[0]
        first = (
            f"{weakest.attribute} decides: it is on brief with {_percent(weakest.chance)}, and no "
            f"allowed recipe gets it above {_percent(weakest.best)}."
        )
        said = [first]
        before = _percent(self.choice.chance)
        said += [
            f"With {price.looser} instead of {price.limit} the chance would rise from {before} to "
            f"{_percent(price.choice.chance)}."
            for price in self.limits
            if _percent(price.choice.chance) != before and price.gain > 0
        ]
        if len(said) == 1:
            said.append("No limit, loosened by one step, would raise the chance by a point.")
        said += [f"Not tried, because it would take long: without {text}." for text in self.untried]
        return tuple(said)


def why(
    brief: Brief,
    beliefs: MixtureBeliefs,
    *,
    step: float = 0.05,
    region: Region | None = None,
    cost_per_kg: PerCoffee | None = None,
    stock_kg: PerCoffee | None = None,
    batch_kg: float | None = None,
    exclusive: Iterable[Iterable[str]] = (),
    one_lasts: Iterable[PerCoffee] = (),
) -> Why:
    """Explain the best recipe that :func:`coupage.recipe.choose` finds with the same arguments.

    Raises
    ------
    InputError, InfeasibleError
        As ``choose`` does.
    """
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
    best = solve(task, task.limits, 1, 1e-9).ranking.found
    choice = describe(task, best)[0]
    prices, untried = [], []
    for text, looser, limits in _loosened(task.limits, best):
        if limits.count() > max(_MOST_RECIPES, task.limits.count()):
            untried.append(text)
            continue
        # Every recipe allowed before still is: the old best stands until it is beaten.
        known = replace(best, order=np.full(1, -1))
        found = describe(task, solve(task, limits, 1, 1e-9, start=known).ranking.found)[0]
        gain = max(0.0, found.chance - choice.chance)
        prices.append(LimitPrice(text, looser, gain, found))
    prices.sort(key=lambda price: -price.gain)
    wants = sorted(_wants(task, choice), key=lambda want: want.chance)
    return Why(choice, tuple(wants), tuple(prices), tuple(untried))


def _wants(task: Task, choice: Choice) -> Iterator[WantChance]:
    x = np.array([[choice.recipe.get(name, 0.0) for name in task.beliefs.components]])
    for event in task.events:
        chance = task.beliefs.chance_between(x, event.attribute, event.low, event.high)
        alone = replace(task, events=[event])
        best = solve(alone, task.limits, 1, 1e-9).ranking.found.chance[0]
        yield WantChance(
            attribute=event.attribute,
            low=event.low,
            high=event.high,
            mean=choice.profile[event.attribute],
            chance=float(chance[0]),
            best=float(best),
        )


def _loosened(limits: Limits, best: Found) -> Iterator[tuple[str, str, Limits]]:
    """Each limit in words, what it is loosened to in words, and the limits then."""
    percent = 100 / limits.parts
    for n, text in enumerate(limits.words):
        cost = text.startswith("cost")
        bounds = limits.bounds.copy()
        if cost:
            bounds[n] *= 1 + _COST_LOOSER
        elif text.startswith("at least"):
            bounds[n] = min(0.0, bounds[n] + 1 / limits.parts)
        else:
            bounds[n] += 1 / limits.parts
        amount = f"{abs(bounds[n]):g} per kg" if cost else f"{100 * abs(bounds[n]):g} %"
        yield text, _reworded(text, amount), replace(limits, bounds=bounds)
    inside = best.steps[0]
    for i, name in enumerate(limits.names):
        # A limit that the best recipe does not touch can still keep out a better one, but a coffee
        # without any in the cup rarely does: looking at those that touch keeps the list short.
        if inside[i] and inside[i] == limits.high[i] < limits.parts:
            high = _plus(limits.high, i, 1)
            said = "at most {:g} % " + name
            yield (
                said.format(limits.high[i] * percent),
                said.format(high[i] * percent),
                replace(limits, high=high),
            )
        if limits.low[i] > 0 and inside[i] == limits.low[i]:
            low = _plus(limits.low, i, -1)
            said = "at least {:g} % " + name
            yield (
                said.format(limits.low[i] * percent),
                said.format(low[i] * percent),
                replace(limits, low=low),
            )
    if limits.least > 1:
        least = limits.least - 1
        yield (
            f"at least {limits.least * percent:g} % of each coffee",
            f"at least {least * percent:g} %",
            replace(limits, least=least),
        )
    if np.count_nonzero(inside) == limits.most_coffees < len(limits.names):
        more = limits.most_coffees + 1
        yield (
            f"at most {limits.most_coffees} coffees",
            f"{more} coffees",
            replace(limits, most_coffees=more),
        )
    if len(limits.uses):
        yield ONE_LASTS, "none that need last", replace(limits, uses=limits.uses[:0])
    if limits.exclusive:
        yield "one approach per lot", "several approaches of a lot", replace(limits, exclusive=())


def _plus(values: np.ndarray, i: int, change: int) -> np.ndarray:
    changed = values.copy()
    changed[i] += change
    return changed


def _reworded(text: str, amount: str) -> str:
    """The same limit with another amount: the words before the number and after its unit."""
    start = next(n for n, letter in enumerate(text) if letter.isdigit())
    unit = "per kg" if text.startswith("cost") else "%"
    return text[:start] + amount + text[text.index(unit) + len(unit) :]


def _percent(chance: float) -> str:
    return f"{100 * chance:.0f} %"
