"""Made-up roast curves with a known shape: an exponential fall of the probe into a rising bean."""

from __future__ import annotations

import numpy as np


def roast(
    t: np.ndarray, *, lag: float = 35.0, gain: float = 0.2, hot: float = 0.0
) -> dict[str, np.ndarray]:
    bean = 25 + gain * 1000 * (1 - np.exp(-t / 520)) * 1.5
    return {"seconds": t, "bean_temperature": bean + (190 - 25) * np.exp(-t / lag) + hot}
