"""What tasting more could still be worth for a choice, at the very most."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from coupage.errors import InputError
from coupage.recipe.brief import Brief
from coupage.recipe.notice import DrawnBeliefs

__all__ = ["Worth", "worth_of_tasting"]


@dataclass(frozen=True, slots=True)
class Worth:
    """What the choice is now, and what it would be if every taste were known.

    Attributes
    ----------
    now
        Chance on brief of the surest recipe.
    known
        Chance that at least one of the recipes is on brief: who knew every taste for sure would
        choose that one. No tasting can bring more than ``known - now``, the expected value of
        perfect information [1]_.
    best
        Place of the surest recipe.
    rival
        Place of the recipe that is most often on brief where the surest is not, and how often that
        is; the same as ``best`` and 0 where there is none.
    rival_chance

    References
    ----------
    .. [1] H. Raiffa and R. Schlaifer (1961), Applied Statistical Decision Theory, chapter 4.
    """

    now: float
    known: float
    best: int
    rival: int
    rival_chance: float

    @property
    def gain(self) -> float:
        """Most that knowing more can add to the chance."""
        return max(0.0, self.known - self.now)


def worth_of_tasting(
    brief: Brief,
    beliefs: DrawnBeliefs,
    recipes: Sequence[Mapping[str, float]],
    *,
    draws: int = 4000,
    seed: int = 0,
) -> Worth:
    """Tell how much knowing every taste for sure could add to a choice among recipes.

    Parameters
    ----------
    brief
        Its must-haves say what "on brief" is.
    beliefs
        What the panel model knows (``coupage.panel.Beliefs``).
    recipes
        Share by component, one or more.
    draws, seed
        Common posterior draws for all recipes: the same call gives the same answer.

    Raises
    ------
    InputError
        When there is no recipe, or one names a component that is not known.
    """
    if not recipes:
        raise InputError("recipes: there is none; give at least one")
    unknown = [a for a in brief.attributes if a not in beliefs.attributes]
    if unknown:
        raise InputError(f"brief {brief.name!r}: {', '.join(map(repr, unknown))} was never rated")
    place = {name: n for n, name in enumerate(beliefs.components)}
    x = np.zeros((len(recipes), len(place)))
    for row, recipe in zip(x, recipes, strict=True):
        for name, share in recipe.items():
            if name not in place:
                raise InputError(f"recipes: {name!r} is not among the components of the beliefs")
            row[place[name]] = share
    good = np.ones((draws, len(recipes)), dtype=bool)
    for attribute, (low, high) in brief.events.items():
        values = beliefs.draws(x, attribute, draws, seed)
        good &= (values >= low) & (values <= high)
    chances = good.mean(axis=0)
    best = int(chances.argmax())
    instead = good[~good[:, best]].sum(axis=0) / draws
    rival = int(instead.argmax()) if instead.any() else best
    return Worth(
        now=float(chances[best]),
        known=float(good.any(axis=1).mean()),
        best=best,
        rival=rival,
        rival_chance=float(instead[rival]),
    )
