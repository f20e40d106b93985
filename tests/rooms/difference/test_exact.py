"""Exact rules: tests/references/discrimination_tables, _oracle, _vignette, thurstone_curves."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from coupage.difference import (
    TESTS,
    TestName,
    assessors_needed,
    correct_from_share,
    max_correct_similar,
    min_correct,
    power,
    power_similar,
    proportion_correct,
    share_from_correct,
)
from coupage.errors import InputError

REFERENCES = Path(__file__).parents[2] / "references"


def load(name: str) -> dict[str, Any]:
    return json.loads((REFERENCES / name).read_text("utf-8"))


TABLES = load("discrimination_tables/tables.json")
ORACLE = load("discrimination_oracle/oracle.json")
VIGNETTE = load("discrimination_vignette/examples.json")
CURVES = load("thurstone_curves/curves.json")
NAMES: dict[str, TestName] = {
    "triangle": "triangle",
    "duotrio": "duo-trio",
    "twoAFC": "2-AFC",
    "threeAFC": "3-AFC",
    "tetrad": "tetrad",
}


def tabled(test: TestName, n: int, alpha: float) -> int | None:
    """Our number as a table prints it: nothing where even n right answers prove nothing."""
    needed = min_correct(test, n, alpha)
    return needed if needed <= n else None


@pytest.mark.parametrize(("table", "test"), [("triangle", "triangle"), ("duo_trio", "duo-trio")])
def test_minimum_numbers_of_the_standards(table: str, test: TestName) -> None:
    alphas = TABLES[table]["inputs"]["alpha_columns"]
    for n, row in TABLES[table]["expected"].items():
        assert [tabled(test, int(n), alpha) for alpha in alphas] == row, n


def test_minimum_numbers_of_a_second_source() -> None:
    alphas = TABLES["triangle_second"]["inputs"]["alpha"]
    for n, row in TABLES["triangle_second"]["expected"].items():
        assert [min_correct("triangle", int(n), alpha) for alpha in alphas] == row


def test_misprints_are_not_reproduced() -> None:
    row = TABLES["duo_trio_misprint"]
    ours = [min_correct("duo-trio", 22, alpha) for alpha in row["inputs"]["alpha_columns"]]
    assert ours != row["expected"]
    assert ours == row["recomputed"]
    copy = TABLES["triangle_bad_copy"]
    for n, right in copy["recomputed"].items():
        ours = [min_correct("triangle", int(n), alpha) for alpha in copy["inputs"]["alpha"]]
        assert ours == right


@pytest.mark.parametrize(
    ("key", "tests", "two_sided"),
    [
        ("one_third", ("triangle", "3-AFC", "tetrad"), False),
        ("one_half", ("duo-trio", "2-AFC"), False),
        ("one_half_two_sided", ("2-AFC",), True),
    ],
)
def test_every_number_from_5_to_100(key: str, tests: tuple[TestName, ...], two_sided: bool) -> None:
    alphas = ORACLE["minimum"]["inputs"]["alpha"]
    for test in tests:
        for n, row in ORACLE["minimum"]["expected"][key].items():
            ours = [min_correct(test, int(n), a, two_sided=two_sided) for a in alphas]
            assert [x if x <= int(n) else None for x in ours] == row, (test, n)


def test_two_sided_pairs_follow_the_sign_test() -> None:
    alphas = TABLES["sign_test"]["inputs"]["one_tail_alpha"]
    for n, row in TABLES["sign_test"]["expected"].items():
        ours = [min_correct("2-AFC", int(n), 2 * a, two_sided=True) for a in alphas]
        assert [int(n) - x if x <= int(n) else None for x in ours] == row


@pytest.mark.parametrize(
    ("table", "test"), [("triangle_similar", "triangle"), ("duo_trio_similar", "duo-trio")]
)
def test_maximum_numbers_for_likeness(table: str, test: TestName) -> None:
    betas = ORACLE[table]["inputs"]["beta"]
    for n, rows in ORACLE[table]["expected"].items():
        for pd, row in rows.items():
            assert [max_correct_similar(test, int(n), float(pd), b) for b in betas] == row, (n, pd)


def test_power_of_a_duo_trio() -> None:
    inputs, expected = VIGNETTE["duo_trio_power"]["inputs"], VIGNETTE["duo_trio_power"]["expected"]
    n, alpha, pd = inputs["n"], inputs["alpha"], inputs["pdA"]
    assert min_correct("duo-trio", n, alpha) == expected["crit"]
    assert power("duo-trio", n, pd, alpha) == pytest.approx(expected["power"], abs=5e-8)
    pd0 = inputs["pd0_alt"]
    assert min_correct("duo-trio", n, alpha, pd0=pd0) == expected["crit_pd0.1"]
    assert power("duo-trio", n, pd, alpha, pd0=pd0) == pytest.approx(
        expected["power_pd0.1"], abs=5e-8
    )
    assert max_correct_similar("duo-trio", 100, 1 / 3, alpha) == expected["sim_crit"]
    for true in (0, 0.2):
        ours = power_similar("duo-trio", 100, 1 / 3, alpha, true_pd=true)
        assert ours == pytest.approx(expected[f"sim_power_{true}"], abs=5e-7)


@pytest.mark.parametrize(
    ("table", "test"), [("triangle_assessors", "triangle"), ("duo_trio_assessors", "duo-trio")]
)
def test_assessors_of_the_standards(table: str, test: TestName) -> None:
    risks = (0.2, 0.1, 0.05, 0.01, 0.001)
    for pd, rows in TABLES[table]["expected"].items():
        ours = [[assessors_needed(test, float(pd), a, b) for b in risks] for a in risks]
        assert ours == rows, pd


STABLE = {  # tests/references/thurstone_curves/SOURCE.md
    "triangle": [220, 301],
    "duotrio": [241, 334],
    "twoAFC": [26, 33],
    "threeAFC": [22, 29],
    "tetrad": [65, 89],
}


@pytest.mark.parametrize("name", NAMES)
def test_sample_sizes_at_a_distance(name: str) -> None:
    test, case = NAMES[name], CURVES["sample_size"]
    pd = share_from_correct(test, proportion_correct(test, case["inputs"]["d"]))
    betas = [1 - p for p in case["inputs"]["power"]]
    assert [assessors_needed(test, pd, 0.05, b) for b in betas] == case["expected"][name]
    assert [assessors_needed(test, pd, 0.05, b, rule="stable") for b in betas] == STABLE[name]


def test_sample_size_of_the_vignette() -> None:
    inputs = VIGNETTE["sample_size"]["inputs"]
    pd = share_from_correct("triangle", proportion_correct("triangle", inputs["d"]))
    ours = assessors_needed("triangle", pd, inputs["alpha"], 1 - inputs["power"])
    assert ours == VIGNETTE["sample_size"]["expected"]["n_exact_first"]


tests = st.sampled_from(TESTS)
shares = st.floats(0.02, 0.98)
risks = st.floats(0.001, 0.4)


@given(test=tests, n=st.integers(1, 400), pd0=st.sampled_from([0.0, 0.1, 0.3]), alpha=risks)
@settings(max_examples=80, deadline=None)
def test_the_bar_is_the_lowest_that_keeps_the_risk(
    test: TestName, n: int, pd0: float, alpha: float
) -> None:
    """Against the binomial of scipy.stats, a general reference library."""
    bar, p = min_correct(test, n, alpha, pd0=pd0), correct_from_share(test, pd0)
    assert 0 <= bar <= n + 1
    assert binom.sf(bar - 1, n, p) <= alpha * (1 + 1e-9)
    assert bar == 0 or binom.sf(bar - 2, n, p) > alpha * (1 - 1e-9)


@given(test=tests, n=st.integers(1, 400), pd=shares, beta=risks)
@settings(max_examples=80, deadline=None)
def test_the_likeness_bar_is_the_highest_that_keeps_the_risk(
    test: TestName, n: int, pd: float, beta: float
) -> None:
    bar, p = max_correct_similar(test, n, pd, beta), correct_from_share(test, pd)
    assert -1 <= bar <= n
    assert binom.cdf(bar, n, p) <= beta * (1 + 1e-9)
    assert bar == n or binom.cdf(bar + 1, n, p) > beta * (1 - 1e-9)


@given(test=tests, pd=st.floats(0.15, 0.95), alpha=risks, beta=risks)
@settings(max_examples=30, deadline=None)
def test_assessors_needed_is_the_first_that_suffices(
    test: TestName, pd: float, alpha: float, beta: float
) -> None:
    n = assessors_needed(test, pd, alpha, beta)
    stable = assessors_needed(test, pd, alpha, beta, rule="stable")
    assert power(test, n, pd, alpha) >= 1 - beta - 1e-9
    assert all(power(test, k, pd, alpha) < 1 - beta for k in range(max(1, n - 40), n))
    assert stable >= n
    assert all(power(test, k, pd, alpha) >= 1 - beta - 1e-9 for k in range(stable, stable + 40))


def test_the_search_starts_below_the_first_that_suffices() -> None:
    """Plain scan from 1 on; the start of the block search must never skip the first."""
    for test in TESTS:
        for pd in (0.15, 0.4, 0.9):
            for alpha, beta in ((0.05, 0.05), (0.2, 0.4), (0.001, 0.2), (0.4, 0.001), (0.6, 0.7)):
                n = assessors_needed(test, pd, alpha, beta)
                p0, p1 = correct_from_share(test, 0), correct_from_share(test, pd)
                for k in range(1, n):
                    bar = int(binom.isf(alpha, k, p0))
                    assert binom.sf(bar, k, p1) < 1 - beta + 1e-9, (test, pd, alpha, beta, k)


def test_two_sided_power_counts_both_ends() -> None:
    n, alpha, p = 30, 0.05, correct_from_share("2-AFC", 0.3)
    bar = min_correct("2-AFC", n, alpha, two_sided=True)
    both = binom.sf(bar - 1, n, p) + binom.cdf(n - bar, n, p)
    assert power("2-AFC", n, 0.3, alpha, two_sided=True) == pytest.approx(both, rel=1e-12)
    assert power("2-AFC", n, 0.0, alpha, two_sided=True) <= alpha


def test_a_tail_equal_to_the_risk_counts() -> None:
    """P(2 of 2 | 1/2) is exactly 1/4."""
    assert min_correct("2-AFC", 2, 0.25) == 2
    assert min_correct("2-AFC", 2, 0.2499) == 3
    assert min_correct("triangle", 2, 1 / 9) == 2


@pytest.mark.parametrize("risk", [1e-12, 1e-6, 0.9, 0.999999])
def test_extreme_risks_are_met_far_from_the_normal_start(risk: float) -> None:
    for n in (3, 20, 137, 400):
        for pd0 in (0.0, 0.9):
            p = correct_from_share("triangle", pd0)
            bar = min_correct("triangle", n, risk, pd0=pd0)
            assert binom.sf(bar - 1, n, p) <= risk
            assert bar == 0 or binom.sf(bar - 2, n, p) > risk
        bar, p = max_correct_similar("triangle", n, 0.1, risk), correct_from_share("triangle", 0.1)
        assert binom.cdf(bar, n, p) <= risk
        assert bar == n or binom.cdf(bar + 1, n, p) > risk


def test_a_small_share_is_found_in_reasonable_time() -> None:
    n = assessors_needed("triangle", 0.01, 0.05, 0.05)
    assert power("triangle", n, 0.01, 0.05) >= 0.95 > power("triangle", n - 1, 0.01, 0.05)
    with pytest.raises(InputError, match="more than 1,000,000 answers"):
        assessors_needed("triangle", 0.0005, 0.05, 0.05)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: min_correct("pentad", 5, 0.05), "triangle, duo-trio, 2-AFC, 3-AFC, tetrad"),
        (lambda: min_correct("triangle", 0, 0.05), "n: 0"),
        (lambda: min_correct("triangle", 5, 5), "5 % is 0.05"),
        (lambda: min_correct("triangle", 5, 0.05, two_sided=True), "leave two_sided out"),
        (lambda: max_correct_similar("triangle", 5, 20, 0.05), "20 % is 0.2"),
        (lambda: max_correct_similar("triangle", 5, 0.2, 0), "beta: 0"),
        (lambda: power("triangle", 5, -0.1, 0.05), "pd: -0.1"),
        (lambda: assessors_needed("triangle", 0.0, 0.05, 0.05), "above pd0"),
        (lambda: assessors_needed("triangle", 0.3, 0.05, 0.05, rule="last"), "stable"),
    ],
)
def test_impossible_questions_are_refused(call: Any, says: str) -> None:
    with pytest.raises(InputError, match=says):
        call()
