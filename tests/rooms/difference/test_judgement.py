"""Judging a test: tests/references/discrimination_vignette, discrimination_tables."""

from __future__ import annotations

import json
import re
from math import inf, isnan
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom, binomtest

from coupage.difference import (
    TESTS,
    TestName,
    correct_from_share,
    guess_chance,
    judge,
    max_correct_similar,
    min_correct,
)
from coupage.difference.intervals import likelihood_limits
from coupage.errors import InputError

REFERENCES = Path(__file__).parents[2] / "references"
VIGNETTE = json.loads((REFERENCES / "discrimination_vignette/examples.json").read_text("utf-8"))
TABLES = json.loads((REFERENCES / "discrimination_tables/tables.json").read_text("utf-8"))


def test_a_3_afc_with_likelihood_intervals() -> None:
    case = VIGNETTE["three_afc"]
    result = judge("3-AFC", case["inputs"]["x"], case["inputs"]["n"], pd=0.2)
    ours = {
        "pc": result.proportion_correct,
        "pc_lo": result.proportion_low,
        "pc_hi": result.proportion_high,
        "pd": result.discriminators,
        "pd_lo": result.discriminators_low,
        "pd_hi": result.discriminators_high,
        "d": result.d_prime,
        "d_lo": result.d_prime_low,
        "d_hi": result.d_prime_high,
        "se_d": result.d_prime_se,
    }
    for key, value in ours.items():
        assert value == pytest.approx(case["expected"][key], abs=6e-5), key


def test_the_likelihood_limit_meets_guessing_at_the_likelihood_p_value() -> None:
    """The same example's likelihood root test has p = 0.004235, one-sided."""
    case = VIGNETTE["three_afc"]["expected"]
    low, _ = likelihood_limits(10, 15, 1 / 3, 1 - 2 * case["p"])
    assert low == pytest.approx(1 / 3, abs=2e-4)
    assert likelihood_limits(10, 15, 1 / 3, 1 - 2 * 0.8 * case["p"])[0] == 1 / 3


def test_a_3_afc_for_likeness() -> None:
    case = VIGNETTE["three_afc_similar"]
    i = case["inputs"]
    result = judge("3-AFC", i["x"], i["n"], pd=i["pd0"], interval="exact")
    assert result.p_similar == pytest.approx(case["expected"]["p"], abs=6e-6)
    assert result.proportion_high == pytest.approx(case["expected"]["pc_hi"], abs=6e-5)


def test_the_standard_error_by_rescaling() -> None:
    """Published for pd 0.2 with SE 0.12; 21 of 45 has pd 0.2, and SE(d) is proportional."""
    case = VIGNETTE["rescale"]
    result = judge("triangle", 21, 45, pd=0.2)
    se_pd = 1.5 * (21 / 45 * 24 / 45 / 45) ** 0.5
    assert result.d_prime == pytest.approx(case["expected"]["d"], abs=2e-5)
    assert result.d_prime_se * case["inputs"]["se_pd"] / se_pd == pytest.approx(
        case["expected"]["se_d"], abs=2e-5
    )


def test_the_triangle_example_of_the_standard() -> None:
    case = TABLES["example"]
    i = case["inputs"]
    result = judge("triangle", i["x"], i["n"], pd=0.2, alpha=i["alpha"])
    assert result.min_correct == case["expected"]["critical"]
    assert result.p_different == pytest.approx(case["expected"]["p"], abs=5e-6)
    assert result.verdict == "different"
    assert judge("triangle", i["x"] - 1, i["n"], pd=0.2).verdict != "different"


@given(test=st.sampled_from(TESTS), n=st.integers(1, 120), data=st.data())
@settings(max_examples=80, deadline=None)
def test_exact_figures_against_a_reference_library(
    test: TestName, n: int, data: st.DataObject
) -> None:
    """binomtest of scipy.stats: p values, Clopper-Pearson limits."""
    x = data.draw(st.integers(0, n))
    guess = guess_chance(test)
    result = judge(test, x, n, pd=0.25, interval="exact")
    assert result.p_different == pytest.approx(
        binomtest(x, n, guess, alternative="greater").pvalue, rel=1e-9
    )
    assert result.p_similar == pytest.approx(
        binom.cdf(x, n, correct_from_share(test, 0.25)), rel=1e-9
    )
    limits = binomtest(x, n).proportion_ci(0.95)
    assert result.proportion_low == pytest.approx(limits.low, abs=1e-9)
    assert result.proportion_high == pytest.approx(limits.high, abs=1e-9)
    one_sided = binomtest(x, n, alternative="less").proportion_ci(0.95).high
    assert result.at_most == pytest.approx(max(0.0, (one_sided - guess) / (1 - guess)), abs=1e-9)


@given(
    test=st.sampled_from(TESTS),
    n=st.integers(1, 300),
    pd=st.floats(0.02, 0.9),
    alpha=st.floats(0.005, 0.3),
    beta=st.floats(0.005, 0.3),
    data=st.data(),
)
@settings(max_examples=120, deadline=None)
def test_verdict_bars_p_values_and_limits_agree(
    test: TestName, n: int, pd: float, alpha: float, beta: float, data: st.DataObject
) -> None:
    result = judge(test, data.draw(st.integers(0, n)), n, pd=pd, alpha=alpha, beta=beta)
    different = result.p_different <= alpha
    similar = result.p_similar <= beta
    assert different == (result.correct >= result.min_correct)
    assert similar == (result.correct <= result.max_correct_similar)
    if abs(result.p_similar - beta) > 1e-9:
        assert similar == (result.at_most <= pd + 1e-9)
    if abs(result.p_different - alpha) > 1e-9:
        assert different == (result.at_least > 0)
    assert (
        result.verdict
        == {
            (True, True): "different, but few can tell",
            (True, False): "different",
            (False, True): "similar",
            (False, False): "not enough answers",
        }[different, similar]
    )
    assert result.d_prime_low <= result.d_prime <= result.d_prime_high
    assert result.discriminators_low <= result.discriminators <= result.discriminators_high
    if "at most" in result.sentence:
        told = int(re.search(r"at most (\d+) %", result.sentence)[1]) / 100  # type: ignore[index]
        assert told >= result.at_most - 1e-9
    if "at least" in result.sentence:
        told = int(re.search(r"at least (\d+) %", result.sentence)[1]) / 100  # type: ignore[index]
        assert told <= result.at_least + 1e-9


def test_plain_sentences() -> None:
    """Limits by binomtest of scipy.stats: 13.7 %, 14.7 % and 16.95 %, rounded to the safe side."""
    assert judge("triangle", 21, 66, pd=0.2).sentence == (
        "Guests are unlikely to notice (at most 14 % could, 95 % sure)."
    )
    assert judge("triangle", 50, 100, pd=0.2, alpha=0.1).sentence == (
        "The two can be told apart (about 25 % could, at least 14 %, 90 % sure)."
    )
    both = judge("2-AFC", 530, 950, pd=0.2)
    assert both.sentence.startswith(
        "There is a difference, but few guests would notice (at most 17"
    )
    # ISO 4120, Table A.3 (from memory): 147 assessors at pd 20 %, risks 5 %.
    undecided = judge("triangle", 5, 12, pd=0.2)
    assert undecided.sentence.endswith("A test with 147 answers would settle it.")


@given(test=st.sampled_from(TESTS), n=st.integers(1, 200), pd=st.floats(0.1, 0.9), data=st.data())
@settings(max_examples=60, deadline=None)
def test_the_promised_size_leaves_no_count_undecided(
    test: TestName, n: int, pd: float, data: st.DataObject
) -> None:
    result = judge(test, data.draw(st.integers(0, n)), n, pd=pd)
    promised = re.search(r"A test with (\d+) answers", result.sentence)
    assert bool(promised) == (result.verdict == "not enough answers")
    if promised:
        size = int(promised[1])
        assert size > n
        assert min_correct(test, size, 0.05) <= max_correct_similar(test, size, pd, 0.05) + 1


def test_an_unlucky_size_is_sent_beyond_the_sawtooth() -> None:
    """147 answers suffice at pd 20 %, but of 151 answers 60 right lie between the bars."""
    result = judge("triangle", 60, 151, pd=0.2)
    assert result.verdict == "not enough answers"
    assert int(re.search(r"A test with (\d+)", result.sentence)[1]) > 151  # type: ignore[index]


def test_fewer_right_than_guessing_raises_a_doubt() -> None:
    assert "check the key" in judge("triangle", 2, 30, pd=0.3).sentence
    assert "at most 1 %" in judge("triangle", 2, 30, pd=0.3).sentence
    assert "check the key" not in judge("triangle", 8, 30, pd=0.3).sentence


def test_all_and_none_right() -> None:
    every, none = judge("triangle", 12, 12, pd=0.2), judge("triangle", 0, 12, pd=0.2)
    assert every.d_prime == every.d_prime_high == inf
    assert 0 < every.d_prime_low < inf
    assert isnan(every.d_prime_se)
    assert none.d_prime == none.d_prime_low == 0
    assert 0 < none.d_prime_high < inf
    assert none.p_different == 1


def test_likelihood_intervals_cover() -> None:
    """Exact coverage over all outcomes of 50 answers; first-order likelihood is near 95 %."""
    n = 50
    for test in TESTS:
        for pd in (0.1, 0.3, 0.6):
            p = correct_from_share(test, pd)
            covered = sum(
                binom.pmf(x, n, p)
                for x in range(n + 1)
                if (limits := likelihood_limits(x, n, guess_chance(test), 0.95))[0]
                <= p
                <= limits[1]
            )
            assert 0.92 <= covered <= 0.985, (test, pd)


@pytest.mark.parametrize(
    ("keywords", "says"),
    [
        ({"correct": 13}, "correct: 13"),
        ({"correct": -1}, "correct: -1"),
        ({"n": 0}, "n: 0"),
        ({"pd": 1.5}, "pd: 1.5"),
        ({"alpha": 0}, "alpha: 0"),
        ({"level": 95}, "level: 95"),
        ({"interval": "wald"}, '"likelihood" or "exact"'),
    ],
)
def test_impossible_tests_are_refused(keywords: dict, says: str) -> None:
    arguments = {"test": "triangle", "correct": 5, "n": 12, "pd": 0.2} | keywords
    with pytest.raises(InputError, match=says):
        judge(**arguments)
