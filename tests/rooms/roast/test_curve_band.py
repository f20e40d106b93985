"""The band against the textbook prediction interval and against its own promise."""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
import pytest
from tests.rooms.roast.curves import roast

from coupage.errors import InputError
from coupage.roast import curve_band

T = np.arange(0, 601, 5.0)


def _parallel(n: int) -> list[dict[str, np.ndarray]]:
    """Curves that differ by constants with mean 0 and standard deviation 4."""
    offsets = np.array([NormalDist().inv_cdf((i + 0.5) / n) for i in range(n)])
    offsets *= 4 / offsets.std(ddof=1)
    return [roast(T, hot=o) for o in offsets]


# Hahn and Meeker (1991), section 4.7: mean +- t(0.975; n - 1) s sqrt(1 + 1/n), with the t
# quantiles 2.776, 2.262, 2.093 of any printed table.
@pytest.mark.parametrize(("n", "t"), [(5, 2.776), (10, 2.262), (20, 2.093)])
def test_curves_apart_by_constants_give_the_prediction_interval(n: int, t: float) -> None:
    band = curve_band(_parallel(n), coverage=0.95, least_half_width=0.01)
    half = (band.high - band.low) / 2
    np.testing.assert_allclose(half, 4 * t * np.sqrt(1 + 1 / n), rtol=0.06)


def _wobbly(rng: np.random.Generator) -> dict[str, np.ndarray]:
    wave = sum(rng.normal(0, 1.5) * np.sin(np.pi * k * T / 600 + k) for k in (1, 2, 3))
    raw = roast(T)
    return {"seconds": T, "bean_temperature": raw["bean_temperature"] + wave}


def test_a_further_roast_stays_inside_all_along_as_often_as_promised() -> None:
    rng = np.random.default_rng(6)
    inside, pointwise = [], []
    for _ in range(12):
        past = [_wobbly(rng) for _ in range(12)]
        band = curve_band(past, coverage=0.8)
        new = np.array([
            np.interp(band.seconds, T, _wobbly(rng)["bean_temperature"]) for _ in range(25)
        ])  # fmt: skip
        late = band.seconds > 60  # before, straight lines between readings miss the fast fall
        inside += list(((new >= band.low) & (new <= band.high))[:, late].all(axis=1))
        spread = (band.high - band.center) / band.factor
        pointwise += list((np.abs(new - band.center) <= 1.36 * spread)[:, late].all(axis=1))
    assert np.mean(inside) == pytest.approx(0.8, abs=0.09)
    # The same chance taken point by point (t(0.9; 11) = 1.363) would be broken far more often.
    assert np.mean(pointwise) < 0.6


def test_band_never_narrows_below_the_least_width() -> None:
    band = curve_band([roast(T)] * 5, least_half_width=1.5)
    np.testing.assert_allclose(band.high - band.low, 3.0)


def test_turning_points_are_laid_over_each_other() -> None:
    past = []
    for late in (-12, -4, 0, 6, 10):
        raw = roast(T)
        past.append(raw | {"seconds": raw["seconds"] + late})
    apart, together = curve_band(past), curve_band(past, align="turning point")
    wide = (apart.high - apart.low)[100]
    assert (together.high - together.low)[100] < wide / 3


def test_bad_input_is_named() -> None:
    with pytest.raises(InputError, match="at least 4"):
        curve_band([roast(T)] * 3)
    with pytest.raises(InputError, match="coverage"):
        curve_band([roast(T)] * 4, coverage=1)
    with pytest.raises(InputError, match="number 3 has a gap"):
        keep = (T < 200) | (T > 300)
        curve_band([roast(T), roast(T), roast(T[keep]), roast(T)])
    with pytest.raises(InputError, match="not every one has a turning point"):
        flat = {"seconds": T, "bean_temperature": 100 + T / 6}
        curve_band([roast(T)] * 3 + [flat], align="turning point")
