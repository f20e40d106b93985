"""Does the expected loss keep its promise, and does leaning on other lots pay?"""

from __future__ import annotations

from time import perf_counter

import numpy as np

from coupage.roast import expected_loss

TITLE = "Expected loss: coverage, error and time"

_DAYS = 60


def _roastery(rng: np.random.Generator) -> tuple[np.ndarray, list[str], list[str], dict]:
    """Three approaches, eight lots each, one to six batches a lot; levels and scatter drawn."""
    between, lot_sd, batch_sd = np.abs(rng.normal(0, [0.02, 0.012, 0.006]))
    levels, losses, lots, approaches = {}, [], [], []
    for a in range(3):
        approach = rng.normal(0.165 + 0, between)
        for k in range(8):
            level = float(np.clip(approach + rng.normal(0, lot_sd), 0.08, 0.3))
            levels[f"{a}-{k}", f"{a}"] = level
            count = int(rng.integers(1, 7))
            losses += list(np.clip(level + rng.normal(0, batch_sd, count), 0, 0.5))
            lots += [f"{a}-{k}"] * count
            approaches += [f"{a}"] * count
    return np.array(losses), lots, approaches, levels


def run() -> str:
    rng = np.random.default_rng(31)
    inside, error, plain, naive = [], [], [], []
    spent = 0.0
    for _ in range(_DAYS):
        losses, lots, approaches, levels = _roastery(rng)
        started = perf_counter()
        model = expected_loss(losses, lots=lots, approaches=approaches)
        spent += perf_counter() - started
        for (lot, approach), truth in levels.items():
            belief = model.expect(lot, approach)
            own = losses[[k == lot for k in lots]]
            inside.append(belief.low90 <= truth <= belief.high90)
            error.append(belief.mean - truth)
            plain.append(own.mean() - truth)
            naive.append(losses.mean() - truth)
    n = len(inside)
    rms = [100 * float(np.sqrt(np.mean(np.square(e)))) for e in (error, plain, naive)]
    return (
        f"{_DAYS} made-up roasteries, 24 lots each, 1 to 6 batches a lot; {n} lots' true levels "
        f"against what was estimated.\n\n"
        "| | figure |\n| --- | --- |\n"
        f"| 90 % intervals that hold the truth | {100 * np.mean(inside):.1f} % "
        f"(± {100 * np.sqrt(np.var(inside) / n):.1f}) |\n"
        f"| error, this model (root mean square, points of loss) | {rms[0]:.3f} |\n"
        f"| error, each lot's own mean | {rms[1]:.3f} |\n"
        f"| error, one mean for all lots | {rms[2]:.3f} |\n"
        f"| time for one roastery | {1000 * spent / _DAYS:.0f} ms |"
    )
