"""Would anybody notice the new recipe?

Two recipes differ by what the panel model believes of them; one tasting of one cup carries noise.
The difference in units of that noise is a d-prime, and the triangle test with it is answered
rightly by a known share of people [1]_ - one in three by luck alone.

References
----------
.. [1] Ennis, D. M. (1993), "The power of sensory discrimination methods", Journal of Sensory
   Studies 8(4), 353-370.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from coupage.difference import TestName, guess_chance, proportion_correct
from coupage.errors import InputError

__all__ = ["Noticed", "NoticedAttribute", "who_notices"]

Floats = NDArray[np.float64]
# Beyond a d-prime of 20 nobody fails any of the tests.
_GRID = np.linspace(0, 20, 401)


class DrawnBeliefs(Protocol):
    """The part of ``coupage.panel.Beliefs`` that a difference is drawn from."""

    @property
    def attributes(self) -> tuple[str, ...]: ...

    @property
    def components(self) -> tuple[str, ...]: ...

    def draws(self, x: Floats, attribute: str, n: int = 4000, seed: int = 0) -> Floats: ...


@dataclass(frozen=True, slots=True)
class NoticedAttribute:
    """How far b lies from a in one attribute: points (b - a), noise of one cup, and d-prime.

    ``d_prime`` belongs to the expected difference; ``low90`` and ``high90`` to what it may be.
    """

    difference: float
    noise: float
    d_prime: float
    low90: float
    high90: float


@dataclass(frozen=True, slots=True)
class Noticed:
    """How well people can tell two recipes apart.

    Attributes
    ----------
    attributes
        Per attribute.
    test
        The discrimination test that the shares speak of.
    d_prime, low90, high90
        Distance over all attributes: the root of the sum of squares, as for a taster who uses
        every attribute and whose noise in each is independent. Middle and 90 % interval of what is
        believed; doubt about a recipe makes it larger, not smaller.
    right, right_low90, right_high90
        Expected share of right answers in the test, and its interval.
    guess
        Share of right answers by luck alone.
    """

    attributes: dict[str, NoticedAttribute]
    test: TestName
    d_prime: float
    low90: float
    high90: float
    right: float
    right_low90: float
    right_high90: float
    guess: float

    @property
    def noticing(self) -> float:
        """Share of people who notice, lucky answers taken off: (right - guess) / (1 - guess)."""
        return (self.right - self.guess) / (1 - self.guess)


def who_notices(
    beliefs: DrawnBeliefs,
    a: Mapping[str, float],
    b: Mapping[str, float],
    *,
    noise: Mapping[str, float] | None = None,
    attributes: Sequence[str] | None = None,
    test: TestName = "triangle",
    draws: int = 4000,
    seed: int = 0,
) -> Noticed:
    """Tell how well people can tell recipe ``b`` from recipe ``a``.

    Parameters
    ----------
    beliefs
        What the panel model knows (``coupage.panel.Beliefs``).
    a, b
        Recipes: share by component.
    noise
        Standard deviation of one tasting of one cup, per attribute, in points. Unless given, what
        the panel model found (``Beliefs.spread``): trained tasters, so guests notice less.
    attributes
        Which to use; all by default.
    test
        Discrimination test.
    draws, seed
        Posterior draws: the same call gives the same answer.

    Raises
    ------
    InputError
        When a recipe, an attribute or a noise cannot be used.
    """
    names = tuple(beliefs.attributes if attributes is None else attributes)
    unknown = [name for name in names if name not in beliefs.attributes]
    if unknown or not names:
        raise InputError(
            f"attributes: {unknown} was never rated; use {', '.join(beliefs.attributes)}"
        )
    noises = _noises(beliefs, names, noise)
    x = np.array([_shares(beliefs, a, "a"), _shares(beliefs, b, "b")])
    found, squares = {}, np.zeros(draws)
    for name in names:
        values = beliefs.draws(x, name, draws, seed)
        scaled = (values[:, 1] - values[:, 0]) / noises[name]
        squares += np.square(scaled)
        low, high = np.quantile(np.abs(scaled), [0.05, 0.95])
        found[name] = NoticedAttribute(
            difference=float(scaled.mean() * noises[name]),
            noise=noises[name],
            d_prime=float(abs(scaled.mean())),
            low90=float(low),
            high90=float(high),
        )
    distance = np.sqrt(squares)
    shares = np.array([proportion_correct(test, float(d)) for d in _GRID])
    right = np.interp(distance, _GRID, shares)
    low, middle, high = np.quantile(distance, [0.05, 0.5, 0.95])
    right_low, right_high = np.quantile(right, [0.05, 0.95])
    return Noticed(
        attributes=found,
        test=test,
        d_prime=float(middle),
        low90=float(low),
        high90=float(high),
        right=float(right.mean()),
        right_low90=float(right_low),
        right_high90=float(right_high),
        guess=guess_chance(test),
    )


def _noises(
    beliefs: Any, names: Sequence[str], noise: Mapping[str, float] | None
) -> dict[str, float]:
    if noise is None:
        spread = beliefs.spread()
        noise = {name: spread[name].cup for name in names}
    for name in names:
        if name not in noise:
            raise InputError(f"noise: nothing is given for {name!r}; give the sd of one tasting")
        if not (np.isfinite(noise[name]) and noise[name] > 0):
            raise InputError(f"noise: {noise[name]} for {name!r} must be more than 0 points")
    return {name: float(noise[name]) for name in names}


def _shares(beliefs: DrawnBeliefs, recipe: Mapping[str, float], argument: str) -> list[float]:
    unknown = [name for name in recipe if name not in beliefs.components]
    if unknown:
        raise InputError(
            f"{argument}: {unknown[0]!r} is not among the components "
            f"{', '.join(beliefs.components)}"
        )
    shares = [float(recipe.get(name, 0.0)) for name in beliefs.components]
    if min(shares) < 0 or abs(sum(shares) - 1) > 1e-6:
        raise InputError(
            f"{argument}: its shares sum to {sum(shares):.6g}; they must be 0 or more and sum to 1"
        )
    return shares
