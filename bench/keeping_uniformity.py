"""Are two batches the same: how often is the verdict wrong, and how often is it given at all?"""

from __future__ import annotations

from time import perf_counter

import numpy as np

from coupage.difference import equivalence
from coupage.errors import InputError
from coupage.panel import fit, uniformity

TITLE = "Uniformity of batches: false 'same' and hits, beside two one-sided tests"

_TOLERANCE = 1.0
_TASTERS = 3
_RUNS = 100
_CUPS = (1, 2, 4)
_DIFFERENCES = (0.0, 0.5, 1.0, 1.5)
_BATCH_SD, _TASTER_SD, _NOISE = 0.5, 0.8, 0.7
_LEVEL = 0.9


def _table(difference: float, cups: int, rng: np.random.Generator) -> tuple[dict, dict]:
    """Two batches that differ by this much, a third one beside them, one attribute."""
    third = rng.normal(0, _BATCH_SD)
    effects = {"a": difference / 2, "b": -difference / 2, "c": third}
    ratings: dict[str, list] = {
        k: [] for k in ("cupping", "taster", "sample", "attribute", "rating", "cup")
    }
    level = rng.normal(5, 0.8)
    for t in range(_TASTERS):
        bias = rng.normal(0, _TASTER_SD)
        for name, effect in effects.items():
            for cup in range(cups):
                y = level + effect + bias + rng.normal(0, _NOISE)
                row = ("k", f"t{t}", name, "body", float(np.clip(round(2 * y) / 2, 0, 10)), cup)
                for key, value in zip(ratings, row, strict=True):
                    ratings[key].append(value)
    samples = {
        "sample": list(effects),
        "component": ["hill"] * 3,
        "proportion": [1.0] * 3,
        "batch": [f"batch {name}" for name in effects],
    }
    return ratings, samples


def _classical(ratings: dict) -> bool:
    """Two one-sided t tests at 10 % each, as the verdict's chance of 90 %, on all cups (paired)."""
    value = np.array(ratings["rating"])
    sample = np.array(ratings["sample"])
    try:
        test = equivalence(
            value[sample == "a"],
            value[sample == "b"],
            low=-_TOLERANCE,
            high=_TOLERANCE,
            alpha=1 - _LEVEL,
            paired=True,
        )
    except InputError:  # all pairs differ by the same half points
        return False
    return test.equivalent


def run() -> str:
    rng = np.random.default_rng(12)
    rows, spent, fits = [], 0.0, 0
    worst = 0.0
    for cups in _CUPS:
        for difference in _DIFFERENCES:
            same = different = classical = 0
            for _ in range(_RUNS):
                ratings, samples = _table(difference, cups, rng)
                started = perf_counter()
                beliefs = fit(ratings, samples, threshold=_LEVEL)
                found = uniformity(beliefs, ["batch a", "batch b"], _TOLERANCE)
                spent += perf_counter() - started
                fits += 1
                same += found.verdict == "same"
                different += found.verdict == "different"
                classical += _classical(ratings)
            rows.append(
                f"| {_TASTERS * cups} | {difference:g} | {100 * same / _RUNS:.0f} % | "
                f"{100 * different / _RUNS:.0f} % | {100 * classical / _RUNS:.0f} % |"
            )
            if difference >= _TOLERANCE:
                worst = max(worst, same / _RUNS)
    half = 100 * np.sqrt(0.1 * 0.9 / _RUNS)
    return (
        f"{_RUNS} made-up tables for each line: {_TASTERS} tasters, one attribute, tolerance "
        f"{_TOLERANCE:g} point, batches that scatter by {_BATCH_SD:g}, tasters by {_TASTER_SD:g}, "
        f"ratings by {_NOISE:g} and rounded to half points. A verdict needs a chance of "
        f"{100 * _LEVEL:.0f} %; the classical test takes the same risk.\n\n"
        "| ratings a batch | true difference | same | different | classical: same |\n"
        "| --- | --- | --- | --- | --- |\n" + "\n".join(rows) + "\n\n"
        f"The most false 'same' at a difference of the tolerance or more: {100 * worst:.0f} % "
        f"(stated risk {100 * (1 - _LEVEL):.0f} % ± {half:.0f} by chance of so few tables). "
        f"One fit and verdict took {1000 * spent / fits:.0f} ms."
    )
