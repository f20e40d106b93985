"""How well a recipe serves a brief: stored wants and shares handed to the computing room."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coupage.errors import InputError
from coupage.panel import Belief, Beliefs
from coupage.recipe import Brief as RoomBrief
from coupage.recipe import Want as RoomWant
from coupage.recipe import chance_on_brief, desirability
from coupage.units import PPM
from coupage.web.blends.models import Brief, PromiseWord, Recipe, Want
from coupage.web.cuppings.columns import component_name

__all__ = [
    "Served",
    "WantChance",
    "promise_chance",
    "promise_text",
    "room_brief",
    "serve",
    "shares_of",
    "want_text",
]


@dataclass(frozen=True, slots=True)
class WantChance:
    """One want and the chance that it holds."""

    want: Want
    text: str
    chance: float


@dataclass(frozen=True, slots=True)
class Served:
    """A recipe held against a brief."""

    chance: float
    desirability: float
    profile: dict[str, Belief]
    wants: tuple[WantChance, ...]

    @property
    def weakest(self) -> WantChance | None:
        """The must-have (or, without any, the want) that is least sure to hold."""
        counting = [w for w in self.wants if w.want.must] or list(self.wants)
        return min(counting, key=lambda w: w.chance, default=None)


def shares_of(recipe: Recipe) -> dict[str, float]:
    """Return a stored recipe as the computing rooms take it: component to fraction."""
    return {component_name(s.approach): s.share_ppm / PPM for s in recipe.shares.all()}


def room_brief(brief: Brief) -> RoomBrief:
    """Return a stored brief as the computing room takes it.

    Raises
    ------
    InputError
        When it has no wants, or two of them contradict each other.
    """
    return RoomBrief(
        brief.name,
        tuple(
            RoomWant(
                want.attribute.name,
                want.kind,  # type: ignore[arg-type]
                None if want.low is None else float(want.low),
                None if want.high is None else float(want.high),
                importance=float(want.importance),
                must=want.must,
            )
            for want in brief.wants.all()
        ),
        cost_cap=None if brief.cost_cap is None else float(brief.cost_cap),
        max_components=brief.max_components,
        min_share=brief.min_share_ppm / PPM,
    )


def serve(brief: Brief, beliefs: Beliefs | None, shares: dict[str, float]) -> Served | None:
    """Hold a recipe against a brief; None where nothing is believed of its coffees or attributes.

    Works on the few components of the recipe only, so that it costs the same however many coffees
    the roastery has.
    """
    if beliefs is None or not shares or any(name not in beliefs.components for name in shares):
        return None
    try:
        wants = room_brief(brief)
    except InputError:
        return None
    if any(attribute not in beliefs.attributes for attribute in wants.attributes):
        return None
    few = beliefs.restrict(list(shares))
    x = np.array([list(shares.values())])
    profile = few.profile(shares)
    return Served(
        chance=float(chance_on_brief(wants, few, x)[0]),
        desirability=desirability(wants, {name: belief.mean for name, belief in profile.items()}),
        profile=profile,
        wants=tuple(
            WantChance(
                want,
                want_text(want),
                float(few.chance_between(x, want.attribute.name, *room.event)[0]),
            )
            for want, room in zip(brief.wants.all(), wants.wants, strict=True)
        ),
    )


def want_text(want: Want) -> str:
    """Say a want in words: ``body at least 5``."""
    low, high = _plain(want.low), _plain(want.high)
    if want.kind == Want.Kind.AT_LEAST:
        range_ = f"at least {low}" + (f", best from {high}" if high else "")
    elif want.kind == Want.Kind.AT_MOST:
        range_ = f"at most {high}" + (f", best up to {low}" if low else "")
    else:
        middle = "between" if want.kind == Want.Kind.BETWEEN else "close to the middle of"
        range_ = f"{middle} {low} and {high}"
    return f"{want.attribute.name} {range_}"


def promise_text(word: PromiseWord) -> str:
    """Say a promised word with what backs it: ``full body (body at least 5.5)``."""
    low, high = _plain(word.low), _plain(word.high)
    if low and high:
        return f"{word.text} ({word.attribute.name} {low} to {high})"
    backing = f"at least {low}" if low else f"at most {high}"
    return f"{word.text} ({word.attribute.name} {backing})"


def promise_chance(
    word: PromiseWord, beliefs: Beliefs | None, shares: dict[str, float]
) -> float | None:
    """Return the chance that a word is true of a recipe; None where nothing is believed."""
    if beliefs is None or not shares or any(name not in beliefs.components for name in shares):
        return None
    if word.attribute.name not in beliefs.attributes:
        return None
    few = beliefs.restrict(list(shares))
    low = float("-inf") if word.low is None else float(word.low)
    high = float("inf") if word.high is None else float(word.high)
    x = np.array([list(shares.values())])
    return float(few.chance_between(x, word.attribute.name, low, high)[0])


def _plain(value: object) -> str:
    return "" if value is None else f"{float(str(value)):g}"
