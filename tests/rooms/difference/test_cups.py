"""Cups of one sample: the analysis of variance of a published table, and its edges."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import f as f_distribution

from coupage.difference import cup_uniformity
from coupage.errors import InputError

EXAMPLES = json.loads(
    (Path(__file__).parents[2] / "references/equivalence_and_agreement/examples.json").read_text()
)


def test_mean_squares_are_those_of_shrout_and_fleiss() -> None:
    """Six targets by four judges (1979, Tables 2 and 3): BMS 11.24, EMS 1.02, two decimals."""
    printed = EXAMPLES["icc"]["expected"]
    found = cup_uniformity(EXAMPLES["icc"]["inputs"]["ratings"])
    assert found.f == pytest.approx(printed["BMS"] / printed["EMS"], rel=0.006)
    assert found.cup_sd**2 == pytest.approx((printed["BMS"] - printed["EMS"]) / 4, abs=0.004)
    assert found.p == pytest.approx(f_distribution.sf(found.f, 5, 15))
    assert found.furthest == 1


def test_equal_cups_alarm_as_often_as_the_risk_says() -> None:
    rng = np.random.default_rng(4)
    p = [cup_uniformity(rng.normal(0, 1, (5, 4)) + rng.normal(0, 2, 4)).p for _ in range(2000)]
    assert np.mean(np.array(p) < 0.05) == pytest.approx(0.05, abs=4 * np.sqrt(0.0475 / 2000))


def test_without_scatter_the_answer_is_plain() -> None:
    assert cup_uniformity(np.full((3, 2), 5.0)).p == 1
    assert cup_uniformity([[5, 5], [7, 7], [5, 5]]).p == 0


@pytest.mark.parametrize("table", [[[5, 6]], [[5], [6]], [[5, np.nan], [6, 5]], [5, 6]])
def test_a_table_with_gaps_is_refused(table: list) -> None:
    with pytest.raises(InputError, match="full table"):
        cup_uniformity(table)
