"""What a reader of the beliefs should know about the table behind them, in plain sentences."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from coupage.panel.columns import Ratings, Samples
from coupage.panel.parts import Part

__all__ = ["notes_on"]

Codes = NDArray[np.int64]

OLD_DAYS = 180.0
FEW_DRAWS = 100.0
LARGE = 300


def notes_on(given: Ratings, described: Samples, parts: Sequence[Part]) -> tuple[str, ...]:
    """Sentences on what the table cannot tell and on fits that are less sure than usual."""
    out = []
    if len(given.tasters) == 1:
        out.append(
            "One taster rated everything: what is their bias and what is the coffee rests on the "
            "priors. Differences between coffees are not affected."
        )
    out += _confounded(given, described)
    oldest = float(np.abs(described.age).max(initial=0.0))
    if oldest > OLD_DAYS:
        out.append(
            f"Some samples are {oldest:.0f} days away from the reference age: check the roast "
            "dates, or trust the slope of age alone that far."
        )
    for a, part in enumerate(parts):
        name = given.attributes[a]
        values = given.rating[given.attribute == a]
        if not len(values):
            out.append(f"{name}: not rated at all; everything said of it is prior belief.")
        elif len(values) > 3 and np.ptp(values) == 0:
            out.append(
                f"{name}: all {len(values)} ratings are {values[0]:g}; doubt rests on the step of "
                "the ratings and on the priors."
            )
        if part.doubt.rounds and 0 < part.doubt.effective < FEW_DRAWS:
            out.append(
                f"{name}: the integration rests on {part.doubt.effective:.0f} effective draws; "
                "take the ends of intervals as rough."
            )
    return tuple(out)


def _confounded(given: Ratings, described: Samples) -> list[str]:
    """Coffees whose samples cannot tell them apart."""
    rated = np.unique(given.sample)
    shares = described.shares[rated]
    present = np.unique(shares.indices)
    if not len(present) or len(present) > LARGE:
        return []
    table = shares[:, present].toarray()
    _, sizes, vectors = np.linalg.svd(table, full_matrices=True)
    rank = int((sizes > 1e-6 * sizes[0]).sum())
    if rank == len(present):
        return []
    loose = np.flatnonzero(np.abs(vectors[rank:]).max(axis=0) > 1e-6)
    names = ", ".join(repr(described.components[present[i]]) for i in loose)
    sentence = (
        f"The samples cannot tell {names} apart: they were only cupped together, in too few "
        "proportions. What is said of each alone rests on the priors; cup one of them straight."
    )
    return [sentence]
