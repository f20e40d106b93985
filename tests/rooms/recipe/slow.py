"""Every recipe one after the other, by definition: no code of the room but the brief itself."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import combinations, product
from math import erf, exp, log, sqrt

from tests.rooms.recipe.fake import FakeBeliefs

from coupage.recipe import Brief

Recipe = tuple[int, ...]


def recipes(q: int, parts: int, most: int, least: int = 1) -> Iterator[Recipe]:
    """Whole steps of each of q coffees."""
    for k in range(1, most + 1):
        for cup in combinations(range(q), k):
            for steps in product(range(least, parts + 1), repeat=k - 1):
                last = parts - sum(steps)
                if last >= least:
                    recipe = [0] * q
                    for i, n in zip(cup, (*steps, last), strict=True):
                        recipe[i] = n
                    yield tuple(recipe)


def phi(z: float) -> float:
    return (1 + erf(z / sqrt(2))) / 2


def parts_of(
    beliefs: FakeBeliefs, attribute: str, x: list[float]
) -> list[tuple[float, float, float]]:
    """Weight, mean and sd of each part for one recipe."""
    used = [i for i, share in enumerate(x) if share]
    z = [(i, x[i]) for i in used]
    z += [(len(x) + n, x[i] * x[j]) for n, (i, j) in enumerate(beliefs.pairs) if x[i] and x[j]]
    mix = beliefs.mixture(attribute)
    out = []
    for weight, mean, covariance in zip(mix.weights, mix.means, mix.covariances, strict=True):
        m = sum(v * mean[a] for a, v in z)
        variance = sum(v * w * covariance[a, b] for a, v in z for b, w in z)
        out.append((float(weight), float(m), sqrt(variance)))
    return out


def chance(brief: Brief, beliefs: FakeBeliefs, x: list[float]) -> float:
    musts = [w for w in brief.wants if w.must] or list(brief.wants)
    total = 1.0
    for attribute in dict.fromkeys(w.attribute for w in musts):
        wants = [w for w in musts if w.attribute == attribute]
        low = max((w.low for w in wants if w.kind != "at most" and w.low is not None), default=-1e9)
        high = min(
            (w.high for w in wants if w.kind != "at least" and w.high is not None), default=1e9
        )
        total *= sum(
            weight * (phi((high - m) / s) - phi((low - m) / s))
            for weight, m, s in parts_of(beliefs, attribute, x)
        )
    return total


def desirability(brief: Brief, beliefs: FakeBeliefs, x: list[float]) -> float:
    """For wants of the kinds "at least" and "at most" that have just one end."""
    logs = weight = 0.0
    for want in brief.wants:
        mean = sum(w * m for w, m, _ in parts_of(beliefs, want.attribute, x))
        short = want.low - mean if want.kind == "at least" else mean - want.high
        d = min(1.0, max(0.0, 1 - short / want.fade))
        if d == 0:
            return 0.0
        logs += want.importance * log(d)
        weight += want.importance
    return exp(logs / weight)


def best(
    brief: Brief,
    beliefs: FakeBeliefs,
    parts: int,
    *,
    least: int = 1,
    allowed: Callable[[list[float]], bool] = lambda x: True,
) -> list[tuple[float, list[float]]]:
    """Every allowed recipe with its chance, best first."""
    found = []
    for recipe in recipes(len(beliefs.components), parts, brief.max_components, least):
        x = [n / parts for n in recipe]
        if allowed(x):
            found.append((chance(brief, beliefs, x), x))
    return sorted(found, key=lambda pair: -pair[0])
