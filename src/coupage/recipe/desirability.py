"""Desirability of a profile, and the chance that a recipe is on brief."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol, overload

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coupage.errors import InputError
from coupage.recipe.brief import Brief, Want

__all__ = ["ChanceBeliefs", "chance_on_brief", "desirability"]


class ChanceBeliefs(Protocol):
    """The part of ``coupage.panel.Beliefs`` that a chance is read from."""

    @property
    def attributes(self) -> tuple[str, ...]: ...

    @property
    def components(self) -> tuple[str, ...]: ...

    def chance_between(
        self, x: NDArray[np.float64], attribute: str, low: float, high: float
    ) -> NDArray[np.float64]: ...


@overload
def desirability(brief: Brief, profile_means: Mapping[str, float]) -> float: ...
@overload
def desirability(
    brief: Brief, profile_means: Mapping[str, NDArray[np.float64]]
) -> NDArray[np.float64]: ...
def desirability(
    brief: Brief, profile_means: Mapping[str, ArrayLike]
) -> float | NDArray[np.float64]:
    """Overall desirability of a profile: the geometric mean over the wants.

    Each want gives a value from 0 to 1 (see :mod:`coupage.recipe.brief`); the weighted geometric
    mean, with the importances as weights, is 0 as soon as one want is not met at all [1]_.

    Parameters
    ----------
    brief
        The wants.
    profile_means : mapping from attribute to a number or an array of shape (n,)
        Mean intensity of each attribute that the brief names.

    Returns
    -------
    float or ndarray of shape (n,)
        Float when every mean is a number.

    Raises
    ------
    InputError
        When an attribute of the brief has no mean.

    References
    ----------
    .. [1] Derringer, G. & Suich, R. (1980), Journal of Quality Technology 12(4), 214-219;
       weights as in Derringer, G. (1994), Quality Progress 27(6), 51-58.

    Examples
    --------
    The tyre tread of the paper [1]_ at its published optimum:

    >>> tyre = Brief("tyre tread", (
    ...     Want("abrasion", "at least", 120, 170),
    ...     Want("modulus", "at least", 1000, 1300),
    ...     Want("elongation", "close to", 400, 600),
    ...     Want("hardness", "close to", 60, 75)))
    >>> best = {"abrasion": 129.5, "modulus": 1300, "elongation": 465.7, "hardness": 68.0}
    >>> round(desirability(tyre, best), 2)
    0.58
    """
    logs: NDArray[np.float64] | float = 0.0
    for want in brief.wants:
        if want.attribute not in profile_means:
            raise InputError(
                f"profile_means: the brief {brief.name!r} wants {want.attribute!r}, "
                "but no mean is given for it"
            )
        value = want_desirability(want, np.asarray(profile_means[want.attribute], dtype=float))
        with np.errstate(divide="ignore"):
            logs = logs + want.importance * np.log(value)
    overall = np.exp(logs / sum(want.importance for want in brief.wants))
    return float(overall) if np.ndim(overall) == 0 else np.asarray(overall, dtype=float)


def want_desirability(want: Want, mean: NDArray[np.float64]) -> NDArray[np.float64]:
    """Desirability of one want at mean intensities, from 0 to 1, same shape as ``mean``."""
    zero_low, one_low, one_high, zero_high = want.slopes
    return np.minimum(_rise(mean, zero_low, one_low), _rise(-mean, -zero_high, -one_high))


def _rise(value: NDArray[np.float64], zero: float, one: float) -> NDArray[np.float64]:
    """Climb from 0 at ``zero`` to 1 at ``one``; a jump when they meet."""
    if zero == one:
        return np.asarray(value >= one, dtype=float)
    return np.clip((value - zero) / (one - zero), 0.0, 1.0)


def chance_on_brief(brief: Brief, beliefs: ChanceBeliefs, x: ArrayLike) -> NDArray[np.float64]:
    """Chance that every must-have of a brief holds, for each recipe.

    The event of an attribute is that its mean intensity lies in the overlap of its must-haves;
    when no want of the brief is a must-have, all wants count. Attributes are independent given
    the design, so the chance is the product over attributes of the closed-form chance of each.

    Parameters
    ----------
    brief
        The wants.
    beliefs
        What the panel model knows (``coupage.panel.Beliefs``).
    x : array of shape (rows, q)
        Proportions, columns in the order of ``beliefs.components``; one recipe may be 1-D.

    Returns
    -------
    ndarray of shape (rows,)

    Raises
    ------
    InputError
        When ``x`` has the wrong width or an attribute was never rated.
    """
    points = np.atleast_2d(np.asarray(x, dtype=float))
    width = len(beliefs.components)
    if points.ndim != 2 or points.shape[1] != width:
        raise InputError(
            f"x: it has shape {np.shape(x)}; it needs one column for each of the {width} "
            "components of the beliefs"
        )
    check_attributes(brief, beliefs)
    chance = np.ones(len(points))
    for attribute, (low, high) in brief.events.items():
        chance *= beliefs.chance_between(points, attribute, low, high)
    return chance


def check_attributes(brief: Brief, beliefs: ChanceBeliefs) -> None:
    """Raise InputError when the brief wants an attribute that the beliefs do not hold."""
    missing = [a for a in brief.attributes if a not in beliefs.attributes]
    if missing:
        raise InputError(
            f"brief {brief.name!r}: {', '.join(map(repr, missing))} was never rated; the beliefs "
            f"hold {', '.join(map(repr, beliefs.attributes))}. Rate it or take it out of the brief"
        )
