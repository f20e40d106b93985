"""Chosen trials against certified optimal designs, and their properties."""

from __future__ import annotations

import json
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.rooms.mixture.strategies import regions

from coupage.errors import InputError
from coupage.mixture import (
    Group,
    Region,
    assess,
    choose_trials,
    model_matrix,
    simplex_centroid,
    simplex_lattice,
)

DESIGNS = json.loads(
    (Path(__file__).parents[2] / "references" / "mixture_designs" / "values.json").read_text()
)


def free(q):
    return Region([f"c{i}" for i in range(q)])


@pytest.mark.parametrize("q", [3, 4, 5, 6])
def test_d_criterion_finds_the_lattice_and_its_published_determinant(q):
    # Kiefer (1961): equal weights on {q, 2} are D-optimal for the quadratic model.
    published = DESIGNS["D-quadratic"]["expected"]["by_q"][str(q)]
    trials = choose_trials(free(q), published["p"], criterion="D")
    np.testing.assert_allclose(
        sorted(trials.points.tolist()), simplex_lattice(q, 2), rtol=0, atol=1e-9
    )
    assert trials.d_efficiency == pytest.approx(published["D"], rel=1e-12)


@pytest.mark.parametrize("runs", [6, 7, 8, 9, 10, 11, 12])
def test_d_criterion_replicates_the_lattice_as_evenly_as_can_be(runs):
    # Follows from Kiefer (1961): the best exact designs on {3, 2}.
    bound = DESIGNS["D-quadratic"]["expected"]["by_q"]["3"]["D"]
    share = DESIGNS["exact-D-eff-lattice"]["expected"]["D_eff"][str(runs)]
    trials = choose_trials(free(3), runs, criterion="D")
    assert trials.d_efficiency / bound == pytest.approx(share, rel=1e-9)


def test_d_criterion_finds_the_centroid_design_for_the_special_cubic():
    # Uranisi (1964), Lim (1990), from memory; certified by the equivalence theorem.
    trials = choose_trials(free(3), 7, "special cubic", "D")
    np.testing.assert_allclose(
        sorted(trials.points.tolist()), sorted(simplex_centroid(3).tolist()), atol=1e-9
    )
    published = DESIGNS["D-special-cubic-q3"]["expected"]["D"]
    assert trials.d_efficiency == pytest.approx(published, rel=1e-10)


@pytest.mark.parametrize("q", [2, 3, 4, 5, 6])
def test_average_variance_is_the_certified_one(q):
    # Lambrakis (1968) ... Goos, Jones & Syafitri (2016): criteria certified by equivalence.
    published = DESIGNS["I-quadratic"]["expected"]["by_q"][str(q)]
    judged = assess(free(q), simplex_lattice(q, 2))
    assert judged.mean_variance == pytest.approx(published["D_optimal_lattice_criterion"], rel=1e-8)


@pytest.mark.parametrize(("q", "runs", "least"), [(2, 8, 1), (3, 30, 0.997), (4, 40, 0.985)])
def test_i_criterion_comes_near_the_certified_bound(q, runs, least):
    # No exact design beats the approximate one; with many runs it comes near.
    bound = DESIGNS["I-quadratic"]["expected"]["by_q"][str(q)]["criterion"]
    trials = choose_trials(free(q), runs)
    assert least - 1e-9 <= bound / trials.mean_variance <= 1 + 1e-9


def test_i_weights_are_near_the_certified_ones():
    # q = 3: vertices 0.1002, edges 0.2016, centroid 0.0949 each: 60 runs give 6, 12 and 6.
    weights = DESIGNS["I-quadratic"]["expected"]["by_q"]["3"]["weight_each"]
    points = choose_trials(free(3), 60, starts=4).points
    used = (points > 0.02).sum(axis=1)
    for size, key in ((1, "1"), (2, "2"), (3, "3")):
        share = np.count_nonzero(used == size) / 60 / (1 if size == 3 else 3)
        assert share == pytest.approx(weights[f"{key}-component centroid"], abs=1.5 / 60)


def brute_force(region, runs, step, value):
    grid = region.grid(step)
    return max(value(grid[list(pick)]) for pick in combinations(range(len(grid)), runs))


def test_no_design_on_a_small_grid_beats_the_one_found():
    region = Region("abc", [0.2, 0.1, 0.1], [0.6, 0.5, 0.4])
    for criterion in ("D", "I"):
        found = choose_trials(region, 3, "linear", criterion, step=0.1)
        best = brute_force(
            region, 3, 0.1, lambda x, c=criterion: -assess(region, x, "linear", c).value
        )
        assert -found.value == pytest.approx(best, rel=1e-9)


@settings(max_examples=25, deadline=None)
@given(
    regions(least=2, most=4, exclusive=True, wide=True),
    st.sampled_from(["D", "I"]),
    st.sampled_from([None, 0.05]),
)
def test_every_trial_is_feasible_and_weighable(drawn, criterion, step):
    trials = choose_trials(drawn.region, 14, criterion=criterion, step=step, starts=2)
    assert trials.points.shape == (14, drawn.region.q)
    assert drawn.region.contains(trials.points).all()
    if step:
        assert np.abs(trials.points / step - np.rint(trials.points / step)).max() < 1e-9


def test_the_judged_figures_are_the_plain_formulas():
    region = Region("abcd", 0.05, 0.7, [Group({"a": 1, "b": 1}, upper=0.6)])
    trials = choose_trials(region, 16, starts=2)
    f = model_matrix(trials.points, "quadratic")
    n, p = f.shape
    inverse = np.linalg.inv(f.T @ f)
    assert trials.d_efficiency == pytest.approx(np.linalg.det(f.T @ f / n) ** (1 / p), rel=1e-7)
    # Average over the region by simulation, an independent route to the moments.
    there = model_matrix(region.sample(40_000, rng=np.random.default_rng(4)), "quadratic")
    variance = n * np.einsum("ij,jk,ik->i", there, inverse, there)
    assert trials.mean_variance == pytest.approx(
        variance.mean(), abs=5 * variance.std() / np.sqrt(40_000)
    )


def test_two_approaches_of_a_coffee_never_meet_and_their_pair_is_left_out():
    region = Region(
        ["natural light", "natural dark", "washed", "honey"],
        exclusive=[["natural light", "natural dark"]],
    )
    trials = choose_trials(region, 12, criterion="D")
    assert not (trials.points[:, :2] > 1e-9).all(axis=1).any()
    # 10 terms less the pair that never meets. The best nine: four straight coffees, five pairs.
    again = choose_trials(region, 9, criterion="D")
    assert sorted(again.points.max(axis=1).round(9).tolist()) == [0.5] * 5 + [1.0] * 4


def test_kept_trials_stay_and_make_the_rest_look_elsewhere():
    keep = simplex_lattice(3, 1)
    trials = choose_trials(free(3), 6, criterion="D", keep=keep)
    np.testing.assert_array_equal(trials.points[:3], keep)
    assert trials.new.tolist() == [False] * 3 + [True] * 3
    # What is missing to the lattice are the three pairs.
    assert sorted(trials.points[3:].round(9).tolist()) == [
        [0, 0.5, 0.5],
        [0.5, 0, 0.5],
        [0.5, 0.5, 0],
    ]


def test_kept_trials_may_lie_outside_the_region_of_the_new_ones():
    region = Region("abc", 0.1)
    trials = choose_trials(region, 7, keep=np.eye(3)[:1])
    assert not region.contains(trials.points[0])[0]
    assert region.contains(trials.points[1:]).all()


def test_with_prior_knowledge_fewer_runs_than_terms_will_do():
    # Three straight coffees known well already: two runs go to pairs, not to what is known.
    prior = np.diag([100.0] * 3 + [0.05] * 3)
    trials = choose_trials(free(3), 2, prior_precision=prior)
    assert ((trials.points > 0.2).sum(axis=1) >= 2).all()
    assert trials.d_efficiency == 0
    assert np.isinf(trials.mean_variance)
    assert np.isfinite(trials.value)


def test_bayesian_value_is_the_plain_formula():
    prior = np.diag([1.0, 2, 3, 0.5, 0.6, 0.7])
    trials = choose_trials(free(3), 4, prior_precision=prior)
    x, w = free(3).average_points(4)
    f = model_matrix(x, "quadratic")
    moments = (f * w[:, None]).T @ f
    rows = model_matrix(trials.points, "quadratic")
    expected = np.trace(moments @ np.linalg.inv(prior + rows.T @ rows))
    assert trials.value == pytest.approx(expected, rel=1e-9)


def test_hidden_repeats_and_the_reference_are_part_of_the_design():
    reference = [0.5, 0.3, 0.2]
    trials = choose_trials(free(3), 10, step=0.05, repeats=2, reference=reference)
    assert trials.reference == 0
    np.testing.assert_allclose(trials.points[0], reference, atol=1e-12)
    repeated = np.flatnonzero(trials.repeat_of >= 0)
    assert len(repeated) >= 2
    for row in repeated:
        assert trials.repeat_of[row] < row
        np.testing.assert_allclose(trials.points[row], trials.points[trials.repeat_of[row]])
    # Six runs for six terms repeat nothing by themselves; asked to, seven do.
    assert (choose_trials(free(3), 6).repeat_of == -1).all()
    assert (choose_trials(free(3), 7, repeats=1).repeat_of >= 0).sum() == 1


def test_the_default_is_the_same_every_time_and_the_generator_decides():
    region = Region("abcd", 0, 0.6)
    one, two = (choose_trials(region, 12, starts=2).points for _ in range(2))
    np.testing.assert_array_equal(one, two)
    three, four = (
        choose_trials(region, 12, starts=2, rng=np.random.default_rng(7)).points for _ in range(2)
    )
    np.testing.assert_array_equal(three, four)


def test_ten_coffees_and_two_dozen_samples_are_within_reach():
    region = Region([f"c{i}" for i in range(10)], 0, 0.5)
    p = 55
    trials = choose_trials(
        region, 24, prior_precision=np.diag([0.2] * 10 + [0.05] * (p - 10)), step=0.05, starts=1
    )
    assert trials.points.shape == (24, 10)
    assert region.contains(trials.points).all()


def test_an_edit_by_hand_shows_its_loss():
    trials = choose_trials(free(3), 8)
    edited = trials.points.copy()
    edited[0] = [1 / 3, 1 / 3, 1 / 3]
    assert assess(free(3), edited).mean_variance > trials.mean_variance
    assert assess(free(3), trials.points).mean_variance == pytest.approx(trials.mean_variance)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"runs": 5}, "5 samples cannot tell the 6 terms"),
        ({"runs": 3, "keep": np.eye(3)}, "leave nothing to choose"),
        ({"runs": 8, "criterion": "A"}, "'A' must be one of D, I, decision"),
        ({"runs": 8, "criterion": "decision"}, "doubt: belongs to"),
        ({"runs": 8, "order": "cubic"}, "'cubic' must be one of"),
        ({"runs": 8, "keep": [[0.5, 0.5]]}, "keep: shape"),
        ({"runs": 8, "keep": [[0.5, 0.4, 0.2]]}, "keep: every row"),
        ({"runs": 8, "reference": [0.5, 0.5, 0.2]}, "reference: every row"),
        ({"runs": 8, "reference": [0.51, 0.29, 0.2], "step": 0.05}, "not multiples of the step"),
        ({"runs": 8, "step": 0.3}, "divide the blend"),
        ({"runs": 8, "repeats": 8}, "repeats: 8 of 8"),
        ({"runs": 8, "prior_precision": np.eye(3)}, r"must be \(6, 6\)"),
        ({"runs": 8, "prior_precision": -np.eye(6)}, "negative eigenvalues"),
    ],
)
def test_wrong_wishes_are_named(arguments, message):
    with pytest.raises(InputError, match=message):
        choose_trials(free(3), **arguments)


def test_more_repeats_than_different_samples_are_refused():
    with pytest.raises(InputError, match="2 are more than there are different samples"):
        choose_trials(Region("AB"), 3, "linear", repeats=2, prior_precision=np.eye(2))


def test_a_step_too_coarse_for_the_limits_is_named():
    with pytest.raises(InputError, match="finer step"):
        choose_trials(Region("abc", [0.31, 0.31, 0.31]), 4, "linear", step=0.1)
    with pytest.raises(InputError, match="reference: it breaks the limits"):
        choose_trials(Region("abc", 0.1), 7, reference=[1, 0, 0])
