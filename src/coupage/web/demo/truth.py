"""What is true in the demo: the numbers that a taster can only guess at.

Drawn from the model of the table, so that tests can ask whether the beliefs find it again. A
lot's and an approach's level is what the scenario expects of it (the feature terms of the model)
plus a draw of its own; everything else is drawn around none.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coupage.errors import InputError
from coupage.web.demo.shapes import Scenario

__all__ = ["REFERENCE_AGE", "Spreads", "Truth", "draw_truth"]

Floats = NDArray[np.float64]

REFERENCE_AGE = 7.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Spreads:
    """Standard deviations from which the truth is drawn, in points of the 0-10 scale.

    ``view`` is a taster's own view of one sample, ``noise`` one rating of it, ``noise_ratio`` the
    standard deviation of the logarithm of a taster's own noise; ``age`` is per day.
    The defaults are a crew that has tasted together for a while.
    """

    lot: float = 0.35
    approach: float = 0.25
    pairing: float = 0.8
    batch: float = 0.18
    taster: float = 0.55
    cupping: float = 0.25
    view: float = 0.3
    noise: float = 0.7
    noise_ratio: float = 0.15
    passes: float = 0.2
    age: float = 0.006


@dataclass(frozen=True, slots=True, eq=False)
class Truth:
    """True coefficients of the model of the table.

    Lengths: q components, k attributes, b batches, t tasters, c cuppings.

    Attributes
    ----------
    attributes, components
        Names, in the order of the axes below.
    theta : (q, k) array
        Intensity of each component at the reference age.
    gamma : (q, q, k) array
        Departure of each pair from linear blending; symmetric, zero on the diagonal.
    batch, taster, cupping : mapping from key to (k,) array
        Effects.
    noise : mapping from taster to float
        Standard deviation of a rating.
    passes : mapping from pass name to (k,) array
        Effects; they sum to zero over warm and cool.
    age_slope : (k,) array
        Change per day.
    """

    attributes: tuple[str, ...]
    components: tuple[str, ...]
    theta: Floats
    gamma: Floats
    batch: Mapping[str, Floats]
    taster: Mapping[str, Floats]
    cupping: Mapping[str, Floats]
    noise: Mapping[str, float]
    passes: Mapping[str, Floats]
    age_slope: Floats
    spreads: Spreads

    def blended(self, x: Floats) -> Floats:
        """Return the (k,) intensities of proportions ``x`` (q,) at the reference age."""
        pairs = np.einsum("i,j,ijk->k", x, x, self.gamma) / 2
        return np.asarray(x @ self.theta + pairs)

    def profile(
        self, recipe: Mapping[str, float], *, age_days: float = REFERENCE_AGE
    ) -> dict[str, float]:
        """Return the true intensity of a recipe, averaged over batches, tasters and days.

        Raises
        ------
        InputError
            When the recipe names a component that the demo does not have.
        """
        unknown = sorted(set(recipe) - set(self.components))
        if unknown:
            raise InputError(
                f"recipe: the demo has no component {unknown[0]!r}; "
                f"it has {'; '.join(self.components)}"
            )
        x = np.array([recipe.get(name, 0.0) for name in self.components])
        values = self.blended(x) + self.age_slope * (age_days - REFERENCE_AGE)
        return dict(zip(self.attributes, values.tolist(), strict=True))


def draw_truth(
    scenario: Scenario, rng: np.random.Generator, spreads: Spreads | None = None
) -> Truth:
    """Draw the truth of a scenario from the model of the table."""
    sd = spreads or Spreads()
    k = len(scenario.attributes)

    def normal(scale: float) -> Floats:
        return rng.normal(0.0, scale, k)

    batch = {
        b.key: normal(sd.batch)
        + np.array([b.fault.taste.get(name, 0.0) for name in scenario.attribute_names])
        for b in scenario.batches
    }
    cool = normal(sd.passes)
    truth = Truth(
        attributes=scenario.attribute_names,
        components=tuple(scenario.components.values()),
        theta=_theta(scenario, rng, sd),
        gamma=_gamma(scenario, rng, sd),
        batch=batch,
        taster={t.name: normal(sd.taster) for t in scenario.tasters},
        cupping={c.key: normal(sd.cupping) for c in scenario.cuppings if not c.added},
        noise={
            t.name: sd.noise * t.steadiness * float(np.exp(rng.normal(0.0, sd.noise_ratio)))
            for t in scenario.tasters
        },
        passes={"warm": -cool, "cool": cool},
        age_slope=np.array([a.fade for a in scenario.attributes]) + normal(sd.age),
        spreads=sd,
    )
    added = {c.key: normal(sd.cupping) for c in scenario.cuppings if c.added}
    return replace(truth, cupping={**truth.cupping, **added})


def _theta(scenario: Scenario, rng: np.random.Generator, sd: Spreads) -> Floats:
    """Components of one lot share the lot's draw."""
    k = len(scenario.attributes)
    step = np.array([a.roast_step for a in scenario.attributes])
    lots = {lot.key: np.array(lot.character) + rng.normal(0.0, sd.lot, k) for lot in scenario.lots}
    return np.array(
        [
            lots[a.lot] + a.longer * step + rng.normal(0.0, sd.approach, k)
            for a in scenario.approaches
        ]
    )


def _gamma(scenario: Scenario, rng: np.random.Generator, sd: Spreads) -> Floats:
    keys = list(scenario.components)
    q, k = len(keys), len(scenario.attributes)
    gamma = np.triu(rng.normal(0.0, sd.pairing, (k, q, q)), 1).transpose(1, 2, 0)
    for (first, second), expected in scenario.pairings.items():
        i, j = sorted((keys.index(first), keys.index(second)))
        for name, value in expected.items():
            gamma[i, j, scenario.attribute_names.index(name)] += value
    return np.asarray(gamma + gamma.transpose(1, 0, 2))
