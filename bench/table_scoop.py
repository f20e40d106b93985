"""How near is the formula for a scooped cup to real draws of beans?"""

from __future__ import annotations

import numpy as np

from coupage.table import scoop_error

TITLE = "A cup scooped from a mixed lot: formula against simulated draws"

CUPS = 40_000
CASES = (
    # name, shares, bean grams, spread of bean mass, scoop grams
    ("equal parts, equal beans", (0.5, 0.5), (0.13, 0.13), 0.0, 8.25),
    ("three coffees", (0.5, 0.3, 0.2), (0.16, 0.12, 0.14), 0.0, 8.25),
    ("three coffees, uneven beans", (0.5, 0.3, 0.2), (0.16, 0.12, 0.14), 0.25, 8.25),
    ("a 5 % part", (0.95, 0.05), (0.13, 0.18), 0.2, 8.25),
    ("espresso dose", (0.55, 0.25, 0.2), (0.15, 0.12, 0.13), 0.2, 18.0),
    ("large and small beans", (0.6, 0.4), (0.25, 0.08), 0.2, 8.25),
)


def simulated(
    shares: tuple[float, ...],
    beans: tuple[float, ...],
    cv: float,
    grams: float,
    rng: np.random.Generator,
) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Beans drawn one by one, each with its own mass, until the scoop weighs what it should."""
    x, mean = np.array(shares), np.array(beans)
    chance = x / mean / (x / mean).sum()
    most = int(2.2 * grams * (x / mean).sum()) + 20
    kind = rng.choice(len(x), p=chance, size=(CUPS, most)).astype(np.int8)
    mass = mean[kind]
    if cv:
        mass *= rng.gamma(1 / cv**2, cv**2, size=mass.shape)
    inside = np.cumsum(mass, axis=1) - mass < grams
    if inside[:, -1].any():
        raise RuntimeError("a scoop was not filled; draw more beans")
    mass *= inside
    parts = np.stack([(mass * (kind == k)).sum(axis=1) for k in range(len(x))], axis=1)
    return (parts / parts.sum(axis=1, keepdims=True)).std(axis=0)


def run() -> str:
    """One row a lot, one line of ratios."""
    rng = np.random.default_rng(21)
    lines = [
        (
            f"{CUPS:,} scoops a row, filled bean by bean; the simulation's own standard error is "
            f"{100 / np.sqrt(2 * CUPS):.1f} % of each figure. Standard deviations of the shares in "
            "points of the cup, and formula over simulation."
        ),
        "",
        "| lot | scoop | formula | simulated | ratio |",
        "| --- | --- | --- | --- | --- |",
    ]
    for name, shares, beans, cv, grams in CASES:
        ours = scoop_error(shares, beans, grams, bean_cv=cv)
        drawn = simulated(shares, beans, cv, grams, rng)

        def row(values: np.ndarray[tuple[int], np.dtype[np.float64]], form: str) -> str:
            return ", ".join(format(v, form) for v in values)

        lines.append(
            f"| {name} | {grams:g} g | {row(100 * ours, '.2f')} | {row(100 * drawn, '.2f')} | "
            f"{row(ours / drawn, '.3f')} |"
        )
    return "\n".join(lines)
