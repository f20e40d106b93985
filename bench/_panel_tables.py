"""Tables for the panel's benchmarks."""

from __future__ import annotations

from typing import Any

import numpy as np

Columns = dict[str, Any]


def small(attributes: int, *, samples: int = 8, tasters: int = 6) -> tuple[Columns, Columns]:
    """Five coffees, eight samples of which three are blends, six tasters, one cupping."""
    rng = np.random.default_rng(1)
    q = 5
    shares = np.zeros((samples, q))
    for s in range(samples):
        if s < q:
            shares[s, s] = 1
        else:
            shares[s, :3] = rng.dirichlet(np.ones(3))
    rows = [
        (f"S{s}", f"c{i}", shares[s, i], f"b{i}{s % 2}")
        for s in range(samples)
        for i in range(q)
        if shares[s, i]
    ]
    described = dict(
        zip(("sample", "component", "proportion", "batch"), zip(*rows, strict=True), strict=True)
    )
    out: dict[str, list[Any]] = {
        k: [] for k in ("cupping", "taster", "sample", "attribute", "rating")
    }
    for a in range(attributes):
        level = shares @ rng.normal(5.5, 1.2, q)
        bias = rng.normal(0, 0.7, tasters)
        for t in range(tasters):
            for s in range(samples):
                y = np.clip(level[s] + bias[t] + rng.normal(0, 0.7), 0, 10)
                values = ("k1", f"t{t}", f"S{s}", f"a{a}", round(2 * float(y)) / 2)
                for column, value in zip(out.values(), values, strict=True):
                    column.append(value)
    return out, described


def large(
    ratings: int, *, attributes: int = 1, blends: bool = True, cuppings: int = 1250
) -> tuple[Columns, Columns]:
    """Eight samples a cupping, up to three of 2,000 coffees in each, drawn from 300 tasters.

    Smaller tables keep ten ratings a sample and shrink in cuppings, coffees and tasters.
    """
    rng = np.random.default_rng(0)
    cuppings = max(2, round(cuppings * ratings / 100_000))
    coffees, tasters = max(12, cuppings * 2000 // 1250), min(300, max(12, cuppings * 300 // 1250))
    count, per = cuppings * 8, 10
    theta, bias = rng.normal(5.5, 1.0, coffees), rng.normal(0, 0.6, tasters)
    day, own = rng.normal(0, 0.3, cuppings), 0.8 * np.exp(0.3 * rng.normal(size=tasters))
    rows, level = [], np.zeros(count)
    for s in range(count):
        k = int(rng.integers(1, 4)) if blends else 1
        members = rng.choice(coffees, k, replace=False)
        x = (rng.multinomial(20 - k, np.full(k, 1 / k)) + 1) / 20
        rows += [(f"S{s}", f"c{i}", float(share)) for i, share in zip(members, x, strict=True)]
        level[s] = x @ theta[members]
    who = np.stack([rng.choice(tasters, per, replace=False) for _ in range(cuppings)])
    sample = np.repeat(np.arange(count), per)
    cupping, taster = sample // 8, who[np.arange(count) // 8].ravel()
    n = len(sample)
    values = []
    for _ in range(attributes):
        y = level[sample] + bias[taster] + day[cupping] + own[taster] * rng.normal(size=n)
        values.append(np.clip(np.round(2 * y) / 2, 0, 10))
    names = np.array([f"S{s}" for s in range(count)])
    table = {
        "cupping": np.tile(cupping, attributes),
        "taster": np.tile(taster, attributes),
        "sample": np.tile(names[sample], attributes),
        "attribute": np.repeat(np.array([f"a{a}" for a in range(attributes)]), n),
        "rating": np.concatenate(values),
    }
    columns = ("sample", "component", "proportion")
    return table, dict(zip(columns, zip(*rows, strict=True), strict=True))
