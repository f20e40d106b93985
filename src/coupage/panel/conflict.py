"""Where the ratings and the priors disagree, in plain words."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from coupage.panel.beliefs import Beliefs

__all__ = ["conflicts"]

RARE = 0.01

_SAID = {
    "coffee": "coffees differ",
    "lot": "lots differ",
    "approach": "approaches to one lot differ",
    "pairing": "blends depart from the mean of their parts",
    "batch": "batches differ",
    "taster": "tasters differ",
    "cupping": "days differ",
    "disagreement": "tasters disagree about single samples",
}


def conflicts(beliefs: Beliefs) -> tuple[str, ...]:
    """One sentence for each prior that the ratings contradict.

    A standard deviation contradicts its prior when values beyond its posterior mean have less
    than 1 % under the prior; the average coffee when it lies that far out.
    """
    out = []
    for attribute, part in zip(beliefs.attributes, beliefs.parts, strict=True):
        for name in part.doubt.names:
            values = part.doubt.of(name)
            if values is not None:
                out += _of_scale(beliefs, attribute, name, _SAID[name], float(values.mean()))
        noise = float(part.doubt.noise.mean())
        out += _of_scale(beliefs, attribute, "noise", "repeated ratings differ", noise)
        q = len(beliefs.components)
        if q <= 500:
            level = float(part.block(np.arange(q)).moments()[0].mean())
            away = (level - beliefs.priors.mean) / beliefs.priors.mean_sd
            if 2 * ndtr(-abs(away)) < RARE:
                out.append(
                    f"{attribute}: the average coffee lies at {level:.1f}; the prior expects "
                    f"{beliefs.priors.mean:g} give or take {beliefs.priors.mean_sd:g}. Check the "
                    "scale, or set the priors mean and mean_sd."
                )
    return tuple(out)


def _of_scale(beliefs: Beliefs, attribute: str, name: str, said: str, value: float) -> list[str]:
    scale = getattr(beliefs.priors, "coffee" if name == "lot" else name)
    if 2 * ndtr(-value / scale) >= RARE:
        return []
    sentence = (
        f"{attribute}: {said} more (sd {value:.2f}) than the prior expects (99 % below "
        f"{2.576 * scale:.2f}). Look for odd ratings, or set the prior "
        f"{'coffee' if name == 'lot' else name} wider."
    )
    return [sentence]
