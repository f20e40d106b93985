"""Numbers, recipes and verdicts in words, the same in the text and in the data."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from coupage.cli.analysis import Analysis, BriefAnswer, Pair
from coupage.panel import TasterReport

__all__ = ["about_pair", "answer", "chance", "recipe", "share", "steadiness"]

# More than a roastery pours for one question.
_MANY_CUPS = 100
_SOURCES = {
    "coffee": "the coffees",
    "approach": "the approaches",
    "batch": "the roast batches",
    "taster": "the tasters' own levels",
    "cupping": "the days",
    "disagreement": "tasters who see one sample differently",
    "cup": "chance from cup to cup",
}


def chance(value: float) -> str:
    """A chance in per cent, never a certainty.

    >>> chance(0.934), chance(0.9999), chance(0.0001)
    ('93 %', 'over 99 %', 'under 1 %')
    """
    if value > 0.99:
        return "over 99 %"
    return "under 1 %" if value < 0.01 else f"{value * 100:.0f} %"


def share(value: float) -> str:
    """A share in per cent, with the digits it needs.

    >>> share(0.35), share(1 / 3)
    ('35 %', '33.3 %')
    """
    text = f"{value * 100:.1f}"
    return f"{text.removesuffix('.0')} %"


def recipe(shares: Mapping[str, float]) -> str:
    """A recipe, largest share first; a straight coffee is its name.

    >>> recipe({"lake": 0.4, "hill": 0.6}), recipe({"hill": 1.0, "lake": 0.0})
    ('60 % hill + 40 % lake', 'hill')
    """
    parts = sorted(((n, s) for n, s in shares.items() if s > 1e-9), key=lambda p: (-p[1], p[0]))
    if len(parts) == 1:
        return parts[0][0]
    return " + ".join(f"{share(s)} {name}" for name, s in parts)


def about_pair(pair: Pair) -> str:
    """What is known of two samples, after their names."""
    joint = pair.joint
    if joint.verdict == "same":
        return f"the same within tolerance (chance {chance(joint.chance_same)})"
    if joint.verdict == "different":
        apart = [
            (abs(c.difference), name, c)
            for name, c in pair.comparisons.items()
            if c.verdict == "different"
        ]
        apart.sort(key=lambda item: -item[0])
        return "different: " + ", ".join(
            f"{name} {abs(c.difference):.1f} {'higher' if c.difference > 0 else 'lower'} "
            f"in {pair.a}"
            for _, name, c in apart
        )
    if joint.further_cups is None or joint.further_cups > _MANY_CUPS:
        return (
            f"not settled; {joint.deciding} lies so near its tolerance that more cups of these "
            "two may never settle it"
        )
    return (
        f"not enough cups; about {joint.further_cups} more of each would settle it "
        "(with a chance of 80 %)"
    )


def answer(analysis: Analysis) -> list[str]:
    """What a roaster asks first, in plain sentences."""
    told = []
    if analysis.brief is not None:
        told += _on_brief(analysis.brief)
    told += _on_pairs(analysis.pairs)
    told += _on_tasters(analysis.tasters)
    told += _on_spread(analysis)
    return told


def _on_brief(brief: BriefAnswer) -> list[str]:
    name = brief.file.brief.name
    if not brief.choices:
        return [f"No recipe can serve {name!r}: {brief.clash}."]
    best = brief.choices[0]
    cost = "" if best.cost is None else f"; it costs {best.cost:.2f} {_money(brief)}"
    told = []
    told.append(
        f"The best recipe for {name!r} is {recipe(best.recipe)}: on brief with a chance of "
        f"{chance(best.chance)}{cost}."
    )
    weakest = min(brief.best_chances, key=lambda a: brief.best_chances[a], default=None)
    if weakest is not None and best.chance < 0.8:
        told.append(
            f"What speaks most against it is {weakest}, met with a chance of "
            f"{chance(brief.best_chances[weakest])}."
        )
    if brief.served:
        tasted = brief.served[0]
        told.append(
            f"Of what was tasted, {recipe(tasted.tasted.recipe)} comes nearest: on brief with a "
            f"chance of {chance(tasted.chance)}."
        )
    return told


def _money(brief: BriefAnswer) -> str:
    return f"{brief.file.currency or 'in money'} per roasted kg"


def _on_pairs(pairs: Sequence[Pair]) -> list[str]:
    sisters = [pair for pair in pairs if pair.same_recipe]
    if 0 < len(sisters) <= 3:
        return [f"{p.a} and {p.b} are one recipe; they are {about_pair(p)}." for p in sisters]
    told = [_count(sisters, "of one recipe")] if sisters else []
    others = [pair for pair in pairs if not pair.same_recipe]
    if others and not sisters:
        told.append(_count(others, "of samples"))
    return told


def _count(pairs: Sequence[Pair], what: str) -> str:
    verdicts = [pair.joint.verdict for pair in pairs]
    return (
        f"Of {len(pairs)} pairs {what}, {verdicts.count('same')} are the same, "
        f"{verdicts.count('different')} differ and {verdicts.count('not enough cups')} "
        "need more cups."
    )


def steadiness(report: TasterReport) -> tuple[float, float]:
    """Own noise of a taster over the attributes, in points, and its doubt."""
    noises = list(report.noise.values())
    mean = sum(noise.mean for noise in noises) / len(noises)
    return mean, math.sqrt(sum(noise.sd**2 for noise in noises)) / len(noises)


def _on_tasters(reports: Sequence[TasterReport]) -> list[str]:
    if len(reports) < 2:
        return []
    ranked = sorted((*steadiness(report), report.taster) for report in reports)
    (low, low_sd, best), (high, high_sd, worst) = ranked[0], ranked[-1]
    if high - low < 2 * math.hypot(low_sd, high_sd):
        return ["Nobody at the table tastes clearly more steadily than the others."]
    told = (
        f"{best} tastes most steadily (a repeated rating strays by {low:.1f} points), "
        f"{worst} least ({high:.1f})."
    )
    return [told]


def _on_spread(analysis: Analysis) -> list[str]:
    shares: dict[str, float] = {}
    for spread in analysis.spread.values():
        for source, part in spread.shares().items():
            shares[source] = shares.get(source, 0.0) + part / len(analysis.spread)
    first, second = sorted(shares, key=lambda source: -shares[source])[:2]
    told = (
        f"Most of the spread of a rating comes from {_SOURCES[first]} "
        f"({share(round(shares[first], 2))}), then from {_SOURCES[second]} "
        f"({share(round(shares[second], 2))})."
    )
    return [told]
