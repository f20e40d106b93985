"""How fast are curves cleaned and compared, and does the band of approved roasts hold?"""

from __future__ import annotations

from time import perf_counter

import numpy as np

from coupage.roast import compare_curves, curve_band

TITLE = "Roast curves: time, and coverage of the band"

_TIMES = np.arange(0.0, 661.0)


def _roast(rng: np.random.Generator) -> dict[str, np.ndarray]:
    """A curve of eleven minutes at one reading a second that wanders around its approach."""
    wave = sum(
        rng.normal(0, 2.0 / k) * np.sin(np.pi * k * _TIMES / 660 + rng.normal(0, 0.2))
        for k in (1, 2, 3, 4)
    )
    bean = 25 + 300 * (1 - np.exp(-_TIMES / 540)) + 160 * np.exp(-_TIMES / 35)
    return {
        "seconds": _TIMES,
        "bean_temperature": bean + wave + rng.normal(0, 0.2, _TIMES.size),
    }


def run() -> str:
    rng = np.random.default_rng(17)
    reference = _roast(rng)
    roasts = [_roast(rng) for _ in range(50)]
    started = perf_counter()
    for roast in roasts:
        compare_curves(reference, roast)
    each = 1000 * (perf_counter() - started) / len(roasts)
    rows = []
    for past in (6, 12, 24):
        inside, spent = [], 0.0
        for _ in range(25):
            started = perf_counter()
            band = curve_band([_roast(rng) for _ in range(past)], least_half_width=0.1)
            spent += perf_counter() - started
            for _ in range(12):
                got = compare_curves(band, _roast(rng), least_seconds=0.0)
                inside.append(not got.excursions)
        error = 100 * np.sqrt(np.var([np.mean(inside[i : i + 12]) for i in range(0, 300, 12)]) / 25)
        rows.append(
            f"| {past} | {100 * np.mean(inside):.1f} % (± {error:.1f}) | {spent / 25:.2f} |"
        )
    return (
        f"One comparison of two curves of 661 readings, cleaning included: {each:.1f} ms.\n\n"
        "Band at 90 %: how many of 300 further roasts stayed inside from charge to drop, over 25 "
        "bands.\n\n| approved roasts | stayed inside | s per band |\n| --- | --- | --- |\n"
        + "\n".join(rows)
    )
