"""Small tables for the panel's tests, drawn from the model with a known truth."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

Table = dict[str, list[Any]]


@dataclass
class Rows:
    """Collects rows for the two tables."""

    ratings: list[tuple[Any, ...]] = field(default_factory=list)
    samples: list[tuple[Any, ...]] = field(default_factory=list)

    def tables(self) -> tuple[Table, Table]:
        ratings = dict(
            zip(
                ("cupping", "taster", "sample", "attribute", "rating", "cup", "pass_name"),
                map(list, zip(*self.ratings, strict=True)),
                strict=True,
            )
        )
        samples = dict(
            zip(
                ("sample", "component", "proportion", "batch", "age_days", "lot"),
                map(list, zip(*self.samples, strict=True)),
                strict=True,
            )
        )
        return ratings, samples


def small_table(
    seed: int = 0, *, attributes: int = 2, tasters: int = 5, noise: float = 0.7
) -> tuple[Table, Table, np.ndarray]:
    """Three coffees, straight and blended, two batches each; the truth (attributes, 3)."""
    rng = np.random.default_rng(seed)
    names = ("hill", "lake", "shore")
    shares = np.array(
        [[1, 0, 0], [0, 1, 0], [0, 0, 1], [0.5, 0.5, 0], [0.2, 0.3, 0.5], [1, 0, 0], [0, 0.6, 0.4]]
    )
    rows = Rows()
    for s, share in enumerate(shares):
        for i, x in enumerate(share):
            if x:
                rows.samples.append((f"S{s}", names[i], x, f"{names[i]}-{s % 2}", 7, names[i]))
    truth = 5 + rng.normal(0, 1.3, (attributes, 3))
    for a in range(attributes):
        bias = rng.normal(0, 0.6, tasters)
        for t in range(tasters):
            for s, share in enumerate(shares):
                y = share @ truth[a] + bias[t] + rng.normal(0, noise)
                value = float(np.clip(np.round(2 * y) / 2, 0, 10))
                rows.ratings.append(("k1", f"t{t}", f"S{s}", f"a{a}", value, 1, "hot"))
    ratings, samples = rows.tables()
    return ratings, samples, truth
