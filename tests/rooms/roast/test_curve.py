"""Cleaning: the smoothed curve and its slope against the known function behind the readings."""

from __future__ import annotations

import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given, settings
from tests.rooms.roast.curves import roast

from coupage.errors import InputError
from coupage.roast import clean_curve, phases

T = np.arange(0, 601, 2.0)


def slope(t: np.ndarray) -> np.ndarray:
    """Derivative of `roast` by hand, degrees a minute."""
    return 60 * (300 / 520 * np.exp(-t / 520) - 165 / 35 * np.exp(-t / 35))


def test_temperature_and_rate_of_rise_follow_the_function() -> None:
    got = clean_curve(roast(T), smoothing_seconds=15)
    want = roast(got.seconds)["bean_temperature"]
    late = got.seconds > 60
    np.testing.assert_allclose(got.temperature[late], want[late], atol=0.05)
    np.testing.assert_allclose(got.rate_of_rise[late], slope(got.seconds)[late], atol=0.5)


def test_turning_point_is_where_the_slope_is_nought() -> None:
    # 300/520 exp(-t/520) = 165/35 exp(-t/35)
    by_hand = np.log(165 / 35 * 520 / 300) / (1 / 35 - 1 / 520)
    got = clean_curve(roast(T), smoothing_seconds=15).turning_point
    assert got == pytest.approx(by_hand, abs=2)


def test_spikes_gaps_and_dead_readings_do_no_harm() -> None:
    rng = np.random.default_rng(2)
    t = np.sort(rng.uniform(0, 600, 500))
    raw = roast(t)
    degrees = raw["bean_temperature"].copy()
    degrees[[50, 200, 201, 400]] += [30, -25, -25, 60]
    degrees[300:305] = np.nan
    degrees[310:315] = 3276.7
    keep = (t < 420) | (t > 480)
    got = clean_curve({"seconds": t[keep], "bean_temperature": degrees[keep]}, smoothing_seconds=15)
    assert got.spikes == 4
    assert len(got.gaps) == 1
    assert got.gaps[0][0] == pytest.approx(420, abs=5)
    known = np.isfinite(got.temperature) & (got.seconds > 60)
    assert np.isnan(got.temperature[(got.seconds > 425) & (got.seconds < 475)]).all()
    want = roast(got.seconds)["bean_temperature"]
    np.testing.assert_allclose(got.temperature[known], want[known], atol=0.3)


@pytest.mark.parametrize("spacing", [0.25, 1.0, 5.0, 15.0, 30.0])
def test_any_rate_gives_the_same_curve_and_no_spike(spacing: float) -> None:
    got = clean_curve(roast(np.arange(0, 601, spacing)), smoothing_seconds=15)
    assert (got.spikes, got.gaps) == (0, ())
    late = got.seconds > 150
    want = roast(got.seconds)["bean_temperature"]
    np.testing.assert_allclose(got.temperature[late], want[late], atol=0.3)


@settings(deadline=None, max_examples=20)
@given(st.permutations(range(60)), st.integers(-3, 3))
def test_order_of_the_readings_does_not_matter(order: list[int], repeat: int) -> None:
    t = np.arange(0, 600, 10.0)
    whole = clean_curve(roast(t))
    mixed = np.concatenate([t[order], t[:repeat] if repeat > 0 else []])
    np.testing.assert_allclose(clean_curve(roast(mixed)).temperature, whole.temperature)


def test_noise_is_smoothed() -> None:
    rng = np.random.default_rng(4)
    raw = roast(np.arange(0, 601.0))
    raw["bean_temperature"] = raw["bean_temperature"] + rng.normal(0, 0.5, 601)
    got = clean_curve(raw)
    late = got.seconds > 120
    error = got.temperature[late] - roast(got.seconds)["bean_temperature"][late]
    # A quadratic over 31 points leaves about 9/(4*31) of the variance (Savitzky and Golay 1964).
    assert error.std() == pytest.approx(0.5 * np.sqrt(9 / (4 * 31)), rel=0.35)


def test_phases_end_at_the_roasters_temperatures() -> None:
    t = np.arange(0, 601.0)
    line = np.where(t < 60, 160 - t, 100 + (t - 60) / 5)
    got = phases(
        clean_curve({"seconds": t, "bean_temperature": line}, smoothing_seconds=3),
        {"crack": 190.0, "yellow": 150.0, "never": 400.0},
    )
    assert [p.until for p in got] == ["yellow", "crack", "drop"]
    assert [p.end_seconds for p in got] == pytest.approx([310, 510, 600], abs=0.5)
    assert sum(p.share for p in got) == pytest.approx(1.0)
    assert got[1].mean_rate_of_rise == pytest.approx(12.0, abs=0.01)


@pytest.mark.parametrize(
    ("curve", "says"),
    [
        ({"seconds": [1.0]}, "bean_temperature"),
        ({"seconds": [1.0, 2.0], "bean_temperature": [1.0]}, "same length"),
        ({"seconds": np.arange(20.0), "bean_temperature": np.full(20, np.nan)}, "0 usable"),
    ],
)
def test_bad_curves_are_named(curve: dict, says: str) -> None:
    with pytest.raises(InputError, match=says):
        clean_curve(curve)


def test_bad_settings_are_named() -> None:
    with pytest.raises(InputError, match="above 0"):
        clean_curve(roast(T), step_seconds=0)
    with pytest.raises(InputError, match="smaller"):
        clean_curve(roast(T), step_seconds=500)
