"""Do decision-minded trials find as good a recipe with fewer cups than average-minded ones?"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from coupage.mixture import Region, choose_trials, doubt_about, model_matrix

TITLE = "Trials for a decision: what the chosen recipe falls short, by number of samples"

Array = np.ndarray[tuple[int, ...], np.dtype[np.float64]]
ROASTERIES = 120
SAMPLES = (1, 2, 3, 4, 6, 8, 12)
NOISE = 0.7  # sd of a sample's mean rating, points
ATTRIBUTES = ("sweetness", "body", "acidity")
COFFEES = 4
REGION = Region([f"coffee {i + 1}" for i in range(COFFEES)])
GRID = REGION.grid(0.05)
ROWS = model_matrix(GRID, "quadratic")
P = ROWS.shape[1]
BEFORE_MEAN = np.r_[np.full(COFFEES, 5.0), np.zeros(P - COFFEES)]
BEFORE = np.diag([1.5**2] * COFFEES + [3.0**2] * (P - COFFEES))


def ramp(rating: Array, low: float, high: float) -> Array:
    return np.clip((rating - low) / (high - low), 0, 1)


def worth(rated: Mapping[str, Array]) -> Array:
    """Desirability of Derringer & Suich (1980): geometric mean of one ramp for each wish."""
    acidity = rated["acidity"]
    return np.cbrt(
        ramp(rated["sweetness"], 4.5, 7)
        * ramp(rated["body"], 4, 6.5)
        * np.minimum(ramp(acidity, 2, 4.5), ramp(-acidity, -7.5, -5))
    )


def learn(mean: Array, covariance: Array, rows: Array, ratings: Array) -> tuple[Array, Array]:
    precision = np.linalg.inv(covariance)
    after = np.linalg.inv(precision + rows.T @ rows / NOISE**2)
    return after @ (precision @ mean + rows.T @ ratings / NOISE**2), after


def chosen(means: Mapping[str, Array], covariance: Array, normal: Mapping[str, Array]) -> int:
    """The recipe on the grid of highest expected worth."""
    half = np.linalg.cholesky(covariance + 1e-12 * np.eye(P))
    rated = {name: (means[name] + normal[name] @ half.T) @ ROWS.T for name in ATTRIBUTES}
    return int(worth(rated).mean(axis=0).argmax())


def one_roastery(
    rng: np.random.Generator, average: dict[int, Array]
) -> dict[tuple[str, int], float]:
    """Truth, a first cupping of the straight coffees, then trials of either kind; shortfalls."""
    half = np.linalg.cholesky(BEFORE)
    truth = {name: BEFORE_MEAN + half @ rng.standard_normal(P) for name in ATTRIBUTES}
    true = worth({name: (truth[name] @ ROWS.T)[None] for name in ATTRIBUTES})[0]
    normal = {name: rng.standard_normal((256, P)) for name in ATTRIBUTES}
    first = model_matrix(np.eye(COFFEES), "quadratic")
    means, covariance = {}, BEFORE
    for name in ATTRIBUTES:
        ratings = first @ truth[name] + NOISE * rng.standard_normal(COFFEES)
        means[name], covariance = learn(BEFORE_MEAN, BEFORE, first, ratings)
    half = np.linalg.cholesky(covariance)
    draws = {name: means[name] + rng.standard_normal((400, P)) @ half.T for name in ATTRIBUTES}
    doubt = doubt_about(
        GRID, draws, worth, noise_sd=NOISE, covariances=dict.fromkeys(ATTRIBUTES, covariance)
    )
    errors = NOISE * rng.standard_normal((len(ATTRIBUTES), max(SAMPLES)))
    short = {("none", 0): float(true.max() - true[chosen(means, covariance, normal)])}
    for n in SAMPLES:
        decided = choose_trials(
            REGION, n, criterion="decision", doubt=doubt, step=0.05, starts=3
        ).points
        for kind, points in (("average", average[n]), ("decision", decided)):
            rows = model_matrix(points, "quadratic")
            known, after = {}, covariance
            for k, name in enumerate(ATTRIBUTES):
                ratings = rows @ truth[name] + errors[k, :n]
                known[name], after = learn(means[name], covariance, rows, ratings)
            short[kind, n] = float(true.max() - true[chosen(known, after, normal)])
    return short


def samples_for(level: float, samples: tuple[int, ...], mean: Array) -> str:
    """Samples at which a falling curve first reaches a level, by straight lines between."""
    for k in range(1, len(mean)):
        if mean[k] <= level:
            above = (mean[k - 1] - level) / max(mean[k - 1] - mean[k], 1e-12)
            return f"{samples[k - 1] + above * (samples[k] - samples[k - 1]):.1f}"
    return f"more than {samples[-1]}"


def run() -> str:
    first = model_matrix(np.eye(COFFEES), "quadratic")
    known = np.linalg.inv(BEFORE) * NOISE**2 + first.T @ first
    average = {
        n: choose_trials(REGION, n, prior_precision=known, step=0.05).points for n in SAMPLES
    }
    rng = np.random.default_rng(2)
    found = [one_roastery(rng, average) for _ in range(ROASTERIES)]
    curve = {key: np.array([f[key] for f in found]) for key in found[0]}
    lines = [
        f"{ROASTERIES} simulated roasteries: {COFFEES} coffees, three attributes drawn from the",
        "prior (coffees sd 1.5, pairs sd 3 points), each coffee cupped once straight, then n trial",
        f"samples (sd {NOISE} points) chosen by either criterion on the same beliefs, then the",
        "recipe of highest expected desirability. *Shortfall*: desirability (0-1) of the truly",
        "best recipe less that of the chosen one. The same truths and errors for both.",
        "",
        "| samples | shortfall, I-optimal | decision-minded | difference | its standard error |",
        "| ---: | ---: | ---: | ---: | ---: |",
        f"| 0 | {curve['none', 0].mean():.4f} | {curve['none', 0].mean():.4f} | 0 | |",
    ]
    for n in SAMPLES:
        gain = curve["average", n] - curve["decision", n]
        error = gain.std(ddof=1) / np.sqrt(ROASTERIES)
        lines.append(
            f"| {n} | {curve['average', n].mean():.4f} | {curve['decision', n].mean():.4f} | "
            f"{gain.mean():.4f} | {error:.4f} |"
        )
    samples = (0, *SAMPLES)
    means = {
        kind: np.array([curve["none", 0].mean(), *(curve[kind, n].mean() for n in SAMPLES)])
        for kind in ("average", "decision")
    }
    lines += [
        "",
        "| to reach a shortfall of | I-optimal needs | decision-minded needs |",
        "| ---: | ---: | ---: |",
    ]
    for level in (0.10, 0.08, 0.06):
        needs = [samples_for(level, samples, means[kind]) for kind in ("average", "decision")]
        lines.append(f"| {level:.2f} | {needs[0]} samples | {needs[1]} samples |")
    return "\n".join(lines)
