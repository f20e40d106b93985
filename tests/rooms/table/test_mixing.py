"""Is it mixed: the chi-square test of a spread, against the handbook and against simulation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from coupage.errors import InputError
from coupage.table import mixing_check, scoop_error


def test_the_statistic_is_the_handbooks() -> None:
    """NIST/SEMATECH e-Handbook 1.3.5.8, gear diameters: N = 100, s = 0.00628, H0 sigma = 0.1.

    T = 0.3903 and the upper 5 % point with 99 degrees of freedom is 123.225 (from memory).
    """
    s, sigma, n = 0.6278908e-02, 0.1, 100
    assert (n - 1) * s**2 / sigma**2 == pytest.approx(0.3903, abs=5e-5)
    assert stats.chi2.isf(0.05, 99) == pytest.approx(123.225, abs=5e-4)
    # The same through the function: samples with this ratio of spread to expected spread.
    expected = float(scoop_error([0.3, 0.7], 0.13, 100)[0])
    z = np.random.default_rng(1).normal(size=n)
    z = (z - z.mean()) / z.std(ddof=1)
    found = mixing_check(0.3 + z * expected * s / sigma, [0.3, 0.7], 0.13, 100)
    assert (n - 1) * (found.spread / found.expected) ** 2 == pytest.approx(0.3903, abs=5e-5)
    assert found.chance == pytest.approx(1.0)


def test_a_perfectly_mixed_lot_is_called_unmixed_as_often_as_was_asked_for() -> None:
    """Beans drawn one by one from a mixed lot; 2,000 checks of 5 samples, alpha 5 %."""
    rng = np.random.default_rng(7)
    counts = rng.binomial(769, 0.3, size=(2_000, 5)) / 769  # 100 g of beans of 0.13 g
    called = [not mixing_check(row, [0.3, 0.7], 0.13, 100).mixed for row in counts]
    # Three standard errors of a proportion of 5 % in 2,000 are 1.5 points.
    assert np.mean(called) == pytest.approx(0.05, abs=0.015)


def test_a_spread_that_is_detectable_is_found_in_four_of_five() -> None:
    rng = np.random.default_rng(11)
    spread = mixing_check([0.3, 0.31, 0.29, 0.3, 0.3], [0.3, 0.7], 0.13, 100).detectable
    rows = 0.3 + rng.normal(0, spread, size=(2_000, 5))
    found = [not mixing_check(row, [0.3, 0.7], 0.13, 100).mixed for row in rows.clip(0, 1)]
    assert np.mean(found) == pytest.approx(0.8, abs=0.03)


@pytest.mark.parametrize(
    ("shares", "more", "says"),
    [
        ([0.3, 0.3], {}, "at least 3"),
        ([0.3, 30, 0.3], {}, "fraction"),
        ([0.3] * 3, {"component": 2}, "component"),
        ([0.3] * 3, {"alpha": 0.9}, "alpha"),
    ],
)
def test_what_cannot_be_answered_is_refused(shares: list[float], more: dict, says: str) -> None:
    with pytest.raises(InputError, match=says):
        mixing_check(shares, [0.3, 0.7], 0.13, 100, **more)


def test_a_lot_of_one_coffee_has_nothing_to_mix() -> None:
    with pytest.raises(InputError, match="component"):
        mixing_check([1, 1, 1], [1.0], 0.13, 100)
