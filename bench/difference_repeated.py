"""Do the limits for repeated tasters cover, where pooling the answers does not?"""

from __future__ import annotations

import time

import numpy as np

from coupage.difference import correct_from_share, judge, judge_repeated

TITLE = "Repeated tasters: coverage of the limits, modelled and pooled"

SESSIONS = 200
CASES = (
    # tasters, answers each, mean share who tell, spread between tasters
    (12, 4, 0.2, 0.0),
    (12, 4, 0.2, 0.3),
    (12, 4, 0.2, 0.7),
    (20, 8, 0.2, 0.3),
    (20, 8, 0.4, 0.3),
    (20, 8, 0.4, 0.7),
)


def skills(
    tasters: int, mean: float, spread: float, rng: np.random.Generator
) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    if spread == 0:
        return np.full(tasters, mean)
    size = 1 / spread - 1
    return rng.beta(mean * size, (1 - mean) * size, tasters)


def run() -> str:
    """Triangle sessions of tasters whose skill is drawn from the model with known truth."""
    rng = np.random.default_rng(20)
    lines = [
        (
            f"{SESSIONS} simulated triangle sessions a row. How often the limits held the true "
            "mean share: the one-sided 95 % limit that a verdict of likeness rests on, and the "
            "two-sided 95 % interval. 'Pooled' treats all answers as if each came from another "
            "taster. The simulation's own standard error is 1.5 points."
        ),
        "",
        "| tasters x answers | true share | spread | upper limit | pooled | interval | pooled |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    spent, count = 0.0, 0
    for tasters, answers, mean, spread in CASES:
        held = np.zeros(4)
        for _ in range(SESSIONS):
            chance = 1 / 3 + 2 / 3 * skills(tasters, mean, spread, rng)
            correct = rng.binomial(answers, chance)
            began = time.perf_counter()
            ours = judge_repeated("triangle", correct, answers, pd=0.3)
            spent, count = spent + time.perf_counter() - began, count + 1
            pooled = judge("triangle", int(correct.sum()), tasters * answers, pd=0.3)
            held += (
                ours.at_most >= mean,
                pooled.at_most >= mean,
                ours.discriminators_low <= mean <= ours.discriminators_high,
                pooled.discriminators_low <= mean <= pooled.discriminators_high,
            )
        shares = " | ".join(f"{100 * h / SESSIONS:.1f} %" for h in held)
        lines.append(f"| {tasters} x {answers} | {mean:.0%} | {spread} | {shares} |")
    expected = correct_from_share("triangle", 0.2)
    lines += [
        "",
        (
            f"(At a share of 20 % {expected:.1%} of answers are right.) One judgement took "
            f"{1000 * spent / count:.0f} ms."
        ),
    ]
    return "\n".join(lines)
