"""Comparisons against differences put in on purpose."""

from __future__ import annotations

import re

import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given, settings
from tests.rooms.roast.curves import roast

from coupage.errors import InputError
from coupage.roast import compare_curves, curve_band

T = np.arange(0, 601.0)


def test_the_same_curve_at_another_rate_stays_within() -> None:
    got = compare_curves(roast(T), roast(np.arange(0, 601, 2.5)), skip_seconds=60)
    assert got.excursions == ()
    assert abs(got.largest_deviation) < 0.3
    assert got.area_between < 0.5
    assert "stayed within the band" in got.sentence()


def test_an_excursion_is_found_where_it_was_put() -> None:
    raw = roast(T)
    bump = 5 * ((T >= 300) & (T < 420))
    raw["bean_temperature"] = raw["bean_temperature"] + bump
    got = compare_curves(roast(T), raw, band=2.0, smoothing_seconds=9)
    assert len(got.excursions) == 1
    only = got.excursions[0]
    assert only.start_seconds == pytest.approx(300, abs=5)
    assert only.end_seconds == pytest.approx(420, abs=5)
    assert only.largest == pytest.approx(5, abs=0.7)
    assert got.seconds_outside == pytest.approx(120, abs=8)
    assert got.area_between == pytest.approx(5 * 120 / 60, rel=0.03)
    said = got.sentence()
    assert re.match(r"It left the band from (4:5|5:0)\d to (6:5|7:0)\d, by up to \+5", said)
    assert "dropped at the same time" in said


def test_cold_late_and_short_of_the_end() -> None:
    got = compare_curves(roast(T), roast(np.arange(0, 571.0), hot=-3.0), band=2)
    assert got.largest_deviation == pytest.approx(-3, abs=0.1)
    assert got.duration_difference == pytest.approx(-30)
    end = roast(np.array([570.0, 600.0]))["bean_temperature"]
    assert got.end_difference == pytest.approx(end[0] - 3 - end[1], abs=0.1)
    assert "dropped 30 s earlier" in got.sentence()


def test_a_late_logger_is_aligned_at_the_turning_point() -> None:
    late = roast(T)
    late["seconds"] = late["seconds"] - 17
    straight = compare_curves(roast(T), late, skip_seconds=150)
    aligned = compare_curves(roast(T), late, align="turning point")
    assert straight.largest_deviation > 5
    assert aligned.shift_seconds == pytest.approx(17, abs=1)
    assert abs(aligned.largest_deviation) < 0.1
    assert aligned.excursions == ()


def test_gaps_are_left_out_of_the_area_not_bridged() -> None:
    raw = roast(T, hot=1.5)
    keep = (raw["seconds"] < 200) | (raw["seconds"] > 300)
    gappy = {k: v[keep] for k, v in raw.items()}
    got = compare_curves(roast(T), gappy)
    assert got.compared_share == pytest.approx(5 / 6, abs=0.01)
    assert got.area_between == pytest.approx(1.5 * 500 / 60, rel=0.02)
    assert len(got.gaps) == 1


@settings(deadline=None, max_examples=15)
@given(st.floats(-8, 8), st.floats(0.5, 6))
def test_a_constant_shift_is_outside_exactly_when_wider_than_the_band(
    hot: float, band: float
) -> None:
    got = compare_curves(roast(T), roast(T, hot=hot), band=band)
    assert bool(got.excursions) == (abs(hot) > band) or abs(abs(hot) - band) < 1e-6
    assert got.area_between == pytest.approx(abs(hot) * 10, rel=1e-6, abs=1e-9)
    assert got.largest_deviation == pytest.approx(hot, abs=1e-9)
    swapped = compare_curves(roast(T, hot=hot), roast(T), band=band)
    np.testing.assert_allclose(swapped.difference, -got.difference, atol=1e-9)


def test_a_band_of_past_roasts_is_the_reference() -> None:
    rng = np.random.default_rng(8)
    past = [roast(T, gain=0.2 * (1 + rng.normal(0, 0.005))) for _ in range(12)]
    band = curve_band(past)
    assert compare_curves(band, roast(T)).excursions == ()
    fast = compare_curves(band, roast(T, gain=0.206))
    assert fast.excursions
    assert fast.excursions[-1].largest > 3


def test_bad_input_is_named() -> None:
    with pytest.raises(InputError, match="above 0"):
        compare_curves(roast(T), roast(T), band=0)
    with pytest.raises(InputError, match="'charge' or 'turning point'"):
        compare_curves(roast(T), roast(T), align="crack")  # type: ignore[arg-type]
    rising = {"seconds": T, "bean_temperature": 100 + T / 6}
    with pytest.raises(InputError, match="curve: it has no turning point"):
        compare_curves(roast(T), rising, align="turning point")
    later = roast(T)
    later["seconds"] = later["seconds"] + 5000
    with pytest.raises(InputError, match="share no time"):
        compare_curves(roast(T), later)


def test_a_blip_shorter_than_asked_is_not_told_but_measured() -> None:
    raw = roast(T)
    raw["bean_temperature"] = raw["bean_temperature"] + 3.5 * ((T >= 300) & (T < 310))
    brief = compare_curves(roast(T), raw, smoothing_seconds=3, least_seconds=20)
    told = compare_curves(roast(T), raw, smoothing_seconds=3, least_seconds=5)
    assert (len(brief.excursions), len(told.excursions)) == (0, 1)
    assert brief.largest_deviation == pytest.approx(3.5, abs=0.1)
