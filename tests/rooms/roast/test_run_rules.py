"""Runs rules: each fires first where the published wording says it must."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from coupage.errors import InputError
from coupage.roast import NELSON, WESTERN_ELECTRIC, control_chart, run_rules

NELSON_CASE = json.loads(
    (Path(__file__).parents[2] / "references/control_charts/charts.json").read_text()
)["nelson"]


@pytest.mark.parametrize("name", NELSON_CASE["inputs"])
def test_nelson_rule_fires_first_at_the_constructed_point(name: str) -> None:
    number = int(name[1])
    z = np.array(NELSON_CASE["inputs"][name])
    found = np.flatnonzero(NELSON[number - 1].holds(z))
    assert found[0] + 1 == NELSON_CASE["expected"][name]
    # The same series fires the same rule on the chart, at the same point, turned upside down too.
    for sign in (1, -1):
        chart = control_chart(sign * z, center=0.0, sigma=1.0, rules="nelson")
        mine = [s.index + 1 for s in chart.signals if s.rule == f"Nelson {number}"]
        assert mine[0] == NELSON_CASE["expected"][name]


@pytest.mark.parametrize(
    ("number", "z", "first"),
    [
        (1, [0.0, 2.99, -3.01], 3),
        (2, [2.1, -2.1, 0.0, 2.1, -2.1], None),
        (2, [-2.1, 0.3, -2.1], 3),
        (2, [2.1, 2.1], 2),
        (2, [2.1, 0.0, 0.0, 2.1], None),
        (3, [1.1, 1.1, 1.1, 1.1], 4),
        (3, [1.1, 1.1, 0.0, 0.0, 1.1, 1.1], None),
        (3, [-1.1, 0.5, -1.1, -1.1, -1.1], 5),
        (4, [0.1] * 7, None),
        (4, [0.1] * 8, 8),
        (4, [0.1] * 7 + [0.0, 0.1], None),
        (4, [0.1] * 4 + [-0.1] * 8, 12),
    ],
)
def test_western_electric_at_the_edges_of_its_wording(
    number: int, z: list[float], first: int | None
) -> None:
    found = np.flatnonzero(WESTERN_ELECTRIC[number - 1].holds(np.array(z)))
    assert (found[0] + 1 if found.size else None) == first


@pytest.mark.parametrize(
    ("number", "z"),
    [
        (2, [0.1] * 8),
        (3, [0.0, 0.1, 0.2, 0.3, 0.4, 0.4]),
        (4, [0.4, -0.4] * 6 + [0.4]),
        (7, [0.5] * 14 + [1.0]),
        (8, [1.2, -1.3, 1.5, -1.1, 0.9, 1.4, 1.2, -1.7]),
    ],
)
def test_nelson_stays_silent_one_point_short(number: int, z: list[float]) -> None:
    assert not NELSON[number - 1].holds(np.array(z)).any()


def test_sets_are_complete_and_numbered() -> None:
    assert [r.number for r in run_rules("western electric")] == [1, 2, 3, 4]
    assert [r.number for r in run_rules("nelson")] == list(range(1, 9))
    assert run_rules("none") == ()
    with pytest.raises(InputError, match="western electric"):
        run_rules("other")  # type: ignore[arg-type]


def test_a_point_back_at_the_center_is_not_blamed_for_those_before_it() -> None:
    z = np.array([2.1, 2.1, 0.0, -2.1])
    assert WESTERN_ELECTRIC[1].holds(z).tolist() == [False, True, False, False]
