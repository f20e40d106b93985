"""Average run lengths against published tables, and against the charts themselves."""

from __future__ import annotations

import json
from pathlib import Path

import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given, settings

from coupage.errors import InputError
from coupage.roast import (
    WESTERN_ELECTRIC,
    control_chart,
    cusum_run_length,
    ewma_run_length,
    western_electric_run_length,
)
from coupage.roast.run_length import _EDGES, _START, _step

CHARTS = json.loads(
    (Path(__file__).parents[2] / "references/control_charts/charts.json").read_text()
)


@pytest.mark.parametrize(("rules", "length"), CHARTS["western-electric-arl"]["expected"].items())
def test_western_electric_champ_and_woodall_1987(rules: str, length: float) -> None:
    numbers = [int(r) for r in rules.split(",")]
    tol = 0.06 if rules == "1" else CHARTS["western-electric-arl"]["tolerance"]
    assert western_electric_run_length(rules=numbers) == pytest.approx(length, abs=tol)


SHIFTS = [0, 0.25, 0.5, 0.75, 1, 1.5, 2, 2.5, 3, 4]


@pytest.mark.parametrize(("name", "decision"), [("h4", 4.0), ("h5", 5.0)])
def test_cusum_table(name: str, decision: float) -> None:
    got = [cusum_run_length(s, decision=decision) for s in SHIFTS]
    want = CHARTS["cusum-arl"]["expected"][name]
    np.testing.assert_allclose(got[:2], want[:2], atol=CHARTS["cusum-arl"]["tolerance"])
    np.testing.assert_allclose(got[2:], want[2:], atol=0.051)


@pytest.mark.parametrize(("name", "row"), CHARTS["ewma-arl"]["expected"].items())
def test_ewma_lucas_and_saccucci_1990(name: str, row: list[float]) -> None:
    weight, width = (float(v) for v in name.split(","))
    got = [ewma_run_length(s, weight=weight, width=width) for s in (0, 0.5, 1, 1.5, 2)]
    assert got[0] == pytest.approx(row[0], abs=CHARTS["ewma-arl"]["tolerance"])
    np.testing.assert_allclose(got[1:], row[1:], atol=0.1)


@settings(deadline=None, max_examples=60)
@given(
    st.lists(st.sampled_from([-3.5, -2.5, -1.5, -0.5, 0.5, 1.5, 2.5, 3.5]), max_size=14),
    st.sets(st.integers(1, 4), min_size=1),
)
def test_the_chain_signals_exactly_where_the_rules_do(z: list[float], used: set[int]) -> None:
    marks = [WESTERN_ELECTRIC[r - 1].holds(np.array(z)) for r in used]
    hits = np.flatnonzero(np.any(marks, axis=0)) if z else np.array([])
    by_rules = int(hits[0]) if hits.size else None
    state, by_chain = _START, None
    for i, value in enumerate(z):
        zone = int(np.searchsorted(_EDGES, value)) - 1
        after = _step(state, zone - 4 if zone < 4 else zone - 3, frozenset(used))
        if after is None:
            by_chain = i
            break
        state = after
    assert by_chain == by_rules


def test_chart_runs_as_long_as_computed() -> None:
    """Simulated CUSUM and EWMA at a shift of one sigma: within 4 standard errors."""
    rng = np.random.default_rng(11)
    for kind, expected in (("cusum", cusum_run_length(1.0)), ("ewma", ewma_run_length(1.0))):
        lengths = []
        for _ in range(400):
            chart = control_chart(rng.normal(1.0, 1.0, 120), kind, center=0.0, sigma=1.0)  # type: ignore[arg-type]
            assert chart.first is not None
            lengths.append(chart.first + 1)
        error = np.std(lengths) / np.sqrt(len(lengths))
        assert np.mean(lengths) == pytest.approx(expected, abs=4 * error)


@pytest.mark.parametrize(
    "call",
    [
        lambda: western_electric_run_length(rules=[5]),
        lambda: western_electric_run_length(rules=[]),
        lambda: ewma_run_length(weight=0),
        lambda: cusum_run_length(sides=3),
    ],
)
def test_bad_settings_are_refused(call: object) -> None:
    with pytest.raises(InputError):
        call()  # type: ignore[operator]
