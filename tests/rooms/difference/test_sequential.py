"""Sequential stopping: Wald, Sequential Analysis (1947), and simulated sessions."""

from __future__ import annotations

from math import log

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coupage.difference import TESTS, TestName, correct_from_share, guess_chance, sequential_plan
from coupage.difference.sequential import sequential_lines
from coupage.errors import InputError


def test_lines_of_walds_binomial_example() -> None:
    """0.1 against 0.3, risks 0.02 and 0.03 (from memory): 0.186 n - 2.58 and 0.186 n + 2.87."""
    slope, low, high = sequential_lines(0.1, 0.3, 0.02, 0.03)
    assert slope == pytest.approx(0.186, abs=5e-4)
    assert low == pytest.approx(-2.58, abs=5e-3)
    assert high == pytest.approx(2.875, abs=5e-3)


@given(
    test=st.sampled_from(TESTS),
    pd=st.floats(0.2, 0.9),
    alpha=st.floats(0.01, 0.25),
    beta=st.floats(0.01, 0.25),
)
@settings(max_examples=20, deadline=None)
def test_walds_inequalities_hold(test: TestName, pd: float, alpha: float, beta: float) -> None:
    """Wald 1947, section 3.2: exact risks stay within the guaranteed ones."""
    plan = sequential_plan(test, pd=pd, alpha=alpha, beta=beta, max_answers=1500)
    nobody, some = plan.risks(0.0), plan.risks(pd)
    for risks in (nobody, some):
        assert risks.different + risks.similar + risks.undecided == pytest.approx(1, abs=1e-9)
    assert nobody.different <= alpha / (1 - beta) + 1e-9
    assert some.similar <= beta / (1 - alpha) + 1e-9
    assert nobody.different + some.similar <= alpha + beta + 1e-9
    # Wald's identity: answers times the drift of one answer equals the mean of the log ratio at
    # the end, which lies at or beyond the lines; with overshoot of at most one answer.
    p0, p1 = guess_chance(test), correct_from_share(test, pd)
    up, down = log(p1 / p0), log((1 - p1) / (1 - p0))
    drift = p1 * up + (1 - p1) * down
    end_up, end_down = log((1 - beta) / alpha), log(beta / (1 - alpha))
    if some.undecided < 1e-6:
        least = some.different * end_up + some.similar * (end_down + down)
        most = some.different * (end_up + up) + some.similar * end_down
        assert least - 1e-3 <= some.mean_answers * drift <= most + 1e-3


@given(
    test=st.sampled_from(TESTS),
    pd=st.floats(0.1, 0.9),
    n=st.integers(1, 200),
    data=st.data(),
)
@settings(max_examples=80, deadline=None)
def test_bars_follow_the_likelihood_ratio(
    test: TestName, pd: float, n: int, data: st.DataObject
) -> None:
    plan = sequential_plan(test, pd=pd, alpha=0.05, beta=0.1)
    x = data.draw(st.integers(0, n))
    p0, p1 = guess_chance(test), correct_from_share(test, pd)
    ratio = x * log(p1 / p0) + (n - x) * log((1 - p1) / (1 - p0))
    state = plan.state(x, n)
    if ratio > log(0.9 / 0.05) + 1e-6:
        assert state == "different"
    elif ratio < log(0.1 / 0.95) - 1e-6:
        assert state == "similar"
    elif log(0.1 / 0.95) + 1e-6 < ratio < log(0.9 / 0.05) - 1e-6:
        assert state == "go on"


def test_simulated_sessions_end_as_stated() -> None:
    """4,000 sessions; four standard errors of a share near 5 % is 0.014."""
    plan = sequential_plan("triangle", pd=0.4, alpha=0.05, beta=0.1, max_answers=60)
    stated = plan.risks(0.4)
    rng = np.random.default_rng(12)
    ends = [plan.run(rng.random(60) < correct_from_share("triangle", 0.4)) for _ in range(4000)]
    states = [state for state, _ in ends]
    assert states.count("similar") / 4000 == pytest.approx(stated.similar, abs=0.02)
    assert states.count("different") / 4000 == pytest.approx(stated.different, abs=0.02)
    assert states.count("go on") / 4000 == pytest.approx(stated.undecided, abs=0.02)
    assert np.mean([n for _, n in ends]) == pytest.approx(stated.mean_answers, rel=0.04)


def test_it_needs_fewer_answers_than_a_fixed_test() -> None:
    """A fixed triangle test needs 66 at pd 30 %, risks 5 % (ISO 4120, Table A.3, from memory)."""
    plan = sequential_plan("triangle", pd=0.3)
    assert plan.risks(0.0).mean_answers < 40
    assert plan.risks(0.3).mean_answers < 40


def test_a_session_ends_at_its_line_or_its_length() -> None:
    plan = sequential_plan("triangle", pd=0.5, max_answers=6)
    assert plan.run([True] * 10) == ("different", 5)
    assert plan.run([False] * 4) == ("go on", 4)
    assert plan.run([True, False] * 10) == ("go on", 6)
    assert plan.run([]) == ("go on", 0)
    assert plan.state(0, 0) == "go on"
    assert plan.bars(1)[0] == -1


@pytest.mark.parametrize(
    ("keywords", "says"),
    [
        ({"pd": 0}, "pd: 0"),
        ({"pd": 1}, "pd: 1"),
        ({"alpha": 0.6, "beta": 0.5}, "below 1"),
        ({"max_answers": 0}, "max_answers: 0"),
        ({"test": "pentad"}, "use one of"),
    ],
)
def test_impossible_plans_are_refused(keywords: dict, says: str) -> None:
    arguments = {"test": "triangle", "pd": 0.3} | keywords
    with pytest.raises(InputError, match=says):
        sequential_plan(arguments.pop("test"), **arguments)
