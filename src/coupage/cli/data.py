"""An analysis as data: what ``--json`` prints and ``analysis.schema.json`` describes."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from coupage import __version__
from coupage.cli.analysis import Analysis, BriefAnswer, Pair, Served
from coupage.cli.words import answer, steadiness
from coupage.panel import MODEL_VERSION, Belief, Comparison, Spread, TasterReport

__all__ = ["as_data"]

_FORMAT = 1
Data = dict[str, Any]


def as_data(analysis: Analysis) -> Data:
    """Plain dicts, lists, numbers and texts."""
    ratings, beliefs = analysis.tables.ratings, analysis.beliefs
    return {
        "format": _FORMAT,
        "coupage": __version__,
        "model": MODEL_VERSION,
        "fingerprint": beliefs.fingerprint,
        "seed": analysis.seed,
        "answer": answer(analysis),
        "table": {
            "coffees": list(analysis.tables.components),
            "attributes": list(beliefs.attributes),
            "samples": len({*ratings["sample"]}),
            "tasters": len({*ratings["taster"]}),
            "cuppings": len({*ratings["cupping"]}),
            "ratings": len(ratings["rating"]),
        },
        "reference_age_days": _number(beliefs.reference_age),
        "threshold": _number(beliefs.threshold),
        "tolerance": {name: _number(value) for name, value in analysis.tolerance.items()},
        "profiles": [
            {
                "recipe": _shares(one.recipe),
                "samples": list(one.samples),
                "attributes": {name: _belief(b) for name, b in one.profile.items()},
            }
            for one in analysis.tasted
        ],
        "pairs": [_pair(pair) for pair in analysis.pairs],
        "tasters": [_taster(report) for report in analysis.tasters],
        "spread": {name: _spread(spread) for name, spread in analysis.spread.items()},
        "brief": None if analysis.brief is None else _brief(analysis.brief),
        "notes": list(analysis.notes),
    }


def _number(value: float) -> float:
    """Six decimals: more would be noise of the draws."""
    return round(float(value), 6)


def _shares(recipe: Mapping[str, float]) -> dict[str, float]:
    return {name: _number(share) for name, share in recipe.items() if share > 1e-9}


def _belief(belief: Belief) -> Data:
    return {
        "mean": _number(belief.mean),
        "sd": _number(belief.sd),
        "interval50": [_number(belief.low50), _number(belief.high50)],
        "interval90": [_number(belief.low90), _number(belief.high90)],
    }


def _pair(pair: Pair) -> Data:
    return {
        "a": pair.a,
        "b": pair.b,
        "same_recipe": pair.same_recipe,
        "verdict": pair.joint.verdict,
        "chance_same": _number(pair.joint.chance_same),
        "chance_different": _number(pair.joint.chance_different),
        "deciding": pair.joint.deciding,
        "further_cups": pair.joint.further_cups,
        "attributes": {name: _comparison(c) for name, c in pair.comparisons.items()},
    }


def _comparison(comparison: Comparison) -> Data:
    return {
        "difference": _number(comparison.difference),
        "sd": _number(comparison.sd),
        "interval90": [_number(comparison.low90), _number(comparison.high90)],
        "chance_same": _number(comparison.chance_same),
        "chance_higher": _number(comparison.chance_higher),
        "chance_lower": _number(comparison.chance_lower),
        "verdict": comparison.verdict,
    }


def _taster(report: TasterReport) -> Data:
    noise, doubt = steadiness(report)
    return {
        "taster": report.taster,
        "noise": _number(noise),
        "noise_sd": _number(doubt),
        "attributes": {
            name: {
                "ratings": report.ratings[name],
                "bias": _belief(report.bias[name]),
                "noise": _belief(report.noise[name]),
                "tells_apart": _maybe(report.tells_apart[name]),
                "agreement": _maybe(report.agreement[name]),
            }
            for name in report.ratings
        },
    }


def _maybe(value: float | None) -> float | None:
    return None if value is None else _number(value)


def _spread(spread: Spread) -> dict[str, Data]:
    shares = spread.shares()
    return {
        source: {
            "sd": _number(getattr(spread, source)),
            "interval90": [_number(low), _number(spread.high90[source])],
            "share": _number(shares[source]) if source in shares else None,
        }
        for source, low in spread.low90.items()
    }


def _brief(answer: BriefAnswer) -> Data:
    return {
        "name": answer.file.brief.name,
        "step": float(answer.file.step),
        "currency": answer.file.currency,
        "must_haves": {
            name: {
                "low": None if math.isinf(low) else low,
                "high": None if math.isinf(high) else high,
                "best_chance": _maybe(answer.best_chances.get(name)),
            }
            for name, (low, high) in answer.file.brief.events.items()
        },
        "best": [
            {
                "recipe": _shares(choice.recipe),
                "chance": _number(choice.chance),
                "desirability": _number(choice.desirability),
                "cost_per_kg": _maybe(choice.cost),
                "attributes": {name: _belief(b) for name, b in profile.items()},
            }
            for choice, profile in zip(answer.choices, answer.profiles, strict=True)
        ],
        "tasted": [_served(one) for one in answer.served],
        "cost_lines": None
        if answer.card is None
        else {line.what: _number(float(line.per_kg)) for line in answer.card.lines},
    }


def _served(one: Served) -> Data:
    return {
        "recipe": _shares(one.tasted.recipe),
        "samples": list(one.tasted.samples),
        "chance": _number(one.chance),
        "desirability": _number(one.desirability),
        "cost_per_kg": _maybe(one.cost),
    }
