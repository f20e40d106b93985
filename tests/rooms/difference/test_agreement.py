"""Intraclass correlations: tests/references/equivalence_and_agreement."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coupage.difference import intraclass
from coupage.errors import InputError

CASE = json.loads(
    (Path(__file__).parents[2] / "references/equivalence_and_agreement/examples.json").read_text(
        "utf-8"
    )
)["icc"]
SIX_DIGITS = (0.165742, 0.289764, 0.714841, 0.442797, 0.620051, 0.909316)  # SOURCE.md, R psych


def test_shrout_and_fleiss() -> None:
    result = intraclass(CASE["inputs"]["ratings"])
    expected = CASE["expected"]
    ours = {
        "BMS": result.between,
        "WMS": result.within,
        "JMS": result.taster,
        "EMS": result.error,
        "ICC11": result.one_way,
        "ICC21": result.agreement,
        "ICC31": result.consistency,
        "ICC14": result.one_way_mean,
        "ICC24": result.agreement_mean,
        "ICC34": result.consistency_mean,
    }
    for key, value in ours.items():
        assert value == pytest.approx(expected[key], abs=0.006), key
    forms = tuple(ours[f"ICC{key}"] for key in ("11", "21", "31", "14", "24", "34"))
    assert forms == pytest.approx(SIX_DIGITS, abs=6e-7)


@given(st.lists(st.lists(st.floats(0, 10), min_size=3, max_size=3), min_size=2, max_size=8))
@settings(max_examples=60, deadline=None)
def test_consistency_ignores_a_tasters_level_and_means_step_up(table: list[list[float]]) -> None:
    y = np.array(table)
    if np.ptp(y.mean(axis=1)) < 0.1:
        return
    result = intraclass(y)
    shifted = intraclass(y + np.array([0.0, 3.0, -2.0]))
    assert shifted.consistency == pytest.approx(result.consistency, abs=1e-8)
    # Spearman-Brown: reliability of a mean of k from that of one.
    if result.consistency > -0.4:
        stepped = 3 * result.consistency / (1 + 2 * result.consistency)
        assert result.consistency_mean == pytest.approx(stepped, rel=1e-7, abs=1e-7)


def test_perfect_agreement() -> None:
    result = intraclass([[1, 1], [2, 2], [5, 5]])
    assert result.one_way == result.agreement == result.consistency == pytest.approx(1)


@pytest.mark.parametrize("table", [[[1, 2]], [[1], [2]], [[1, float("nan")], [2, 3]], [1, 2, 3]])
def test_tables_with_gaps_are_refused(table: list) -> None:
    with pytest.raises(InputError, match="full table"):
        intraclass(table)
    with pytest.raises(InputError, match="do not differ"):
        intraclass([[1, 2], [1, 2]])
