"""The decision-minded criterion: cup what the choice hinges on."""

from __future__ import annotations

import numpy as np
import pytest

from coupage.errors import InputError
from coupage.mixture import Region, choose_trials, doubt_about, model_matrix

NAMES = ("sweetness", "body")


def beliefs(q, rng, draws=600, sd=1.0, known=()):
    """Draws for two attributes; coefficients listed in ``known`` are known to a hair."""
    p = q + q * (q - 1) // 2
    scale = np.full(p, sd)
    scale[list(known)] = 1e-3
    mean = np.r_[np.full(q, 5.0), np.zeros(p - q)]
    return {name: mean + scale * rng.standard_normal((draws, p)) for name in NAMES}


def sweetest(rated):
    return rated["sweetness"]


def test_chances_are_those_of_each_recipe_being_best():
    # Two coffees, linear, independent N(5, 1) and N(5.5, 1): P(first better) = Phi(-0.5/sqrt 2).
    rng = np.random.default_rng(0)
    draws = {"sweetness": np.array([5.0, 5.5]) + rng.standard_normal((20_000, 2))}
    doubt = doubt_about(np.eye(2), draws, sweetest, noise_sd=1, order="linear")
    assert doubt.chances[0] == pytest.approx(0.36184, abs=4 * np.sqrt(0.36 * 0.64 / 20_000))
    assert doubt.chances.sum() == pytest.approx(1)


def test_weights_of_two_contenders_are_the_ones_worked_by_hand():
    # Utility = sweetness, slope 1: v = +-(e1 - e2) times the other's chance, so
    # W = c1 c2 (e1 - e2)(e1 - e2)'.
    draws = {"sweetness": [[6.0, 5.0], [6.0, 5.5], [7.0, 4.0], [4.0, 5.0]]}
    doubt = doubt_about(np.eye(2), draws, sweetest, noise_sd=0.5, order="linear")
    np.testing.assert_allclose(
        doubt.aspects[0].weights, 3 / 16 * np.array([[1, -1], [-1, 1]]), atol=1e-12
    )
    np.testing.assert_allclose(
        doubt.aspects[0].precision,
        0.25 * np.linalg.inv(np.cov(np.array(draws["sweetness"]), rowvar=False)),
        rtol=1e-6,
    )


def test_doubt_left_is_the_plain_formula_and_the_value_of_the_trials():
    rng = np.random.default_rng(1)
    region = Region("abc")
    doubt = doubt_about(
        region.grid(0.1), beliefs(3, rng), lambda r: r["sweetness"] + 0.3 * r["body"], noise_sd=0.7
    )
    trials = choose_trials(region, 4, criterion="decision", doubt=doubt)
    x = model_matrix(trials.points, "quadratic")
    total = 0.0
    for aspect in doubt.aspects:
        posterior = np.linalg.inv(aspect.precision / 0.49 + x.T @ x / 0.49)
        total += np.trace(aspect.weights @ posterior)
    assert trials.value == pytest.approx(np.sqrt(total), rel=1e-6)
    assert doubt.left(trials.points) == pytest.approx(trials.value, rel=1e-6)
    assert doubt.left(np.empty((0, 3))) > trials.value


def test_what_the_utility_does_not_read_weighs_nothing():
    doubt = doubt_about(
        Region("abc").grid(0.1), beliefs(3, np.random.default_rng(2)), sweetest, noise_sd=0.7
    )
    by_name = {aspect.name: aspect.weights for aspect in doubt.aspects}
    assert np.abs(by_name["body"]).max() == 0
    assert np.abs(by_name["sweetness"]).max() > 0


def test_trials_go_where_the_doubt_about_the_best_lies():
    # Coffee c is hopeless, however doubtful: only a and b contend, so no trial holds much of c.
    rng = np.random.default_rng(3)
    draws = {"sweetness": rng.standard_normal((800, 6)) * [1, 1, 1, 2, 2, 2]}
    draws["sweetness"] += [5, 5, -5, 0, 0, 0]
    region = Region("abc")
    doubt = doubt_about(region.grid(0.05), draws, sweetest, noise_sd=0.7)
    trials = choose_trials(region, 4, criterion="decision", doubt=doubt, step=0.05)
    assert trials.points[:, 2].max() <= 0.1
    # An average over the whole region asks for c as well.
    prior = doubt.aspects[0].precision
    assert choose_trials(region, 4, prior_precision=prior, step=0.05).points[:, 2].max() >= 0.3


def test_a_sharp_brief_has_a_slope_too():
    rng = np.random.default_rng(4)
    grid = Region("abc").grid(0.1)
    doubt = doubt_about(
        grid, beliefs(3, rng), lambda r: (r["sweetness"] > 5.5).astype(float), noise_sd=0.7
    )
    assert np.abs(doubt.aspects[0].weights).max() > 0


def test_decision_trials_cost_less_doubt_than_average_minded_ones():
    rng = np.random.default_rng(5)
    region = Region("abcd")
    draws = beliefs(4, rng, known=(0, 1, 2, 3))
    doubt = doubt_about(region.grid(0.1), draws, sweetest, noise_sd={"sweetness": 1, "body": 1})
    decided = choose_trials(region, 4, criterion="decision", doubt=doubt, step=0.1)
    average = choose_trials(region, 4, prior_precision=doubt.aspects[0].precision, step=0.1)
    assert doubt.left(decided.points) < doubt.left(average.points)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"draws": {}}, "no attribute"),
        ({"draws": {"sweetness": np.zeros((9, 3))}}, r"give \(s, 6\)"),
        ({"draws": {"sweetness": np.random.default_rng(0).normal(size=(4, 6))}}, "more draws"),
        ({"utility": lambda r: r["sweetness"].mean()}, "utility: returned shape"),
        ({"utility": lambda r: r["sweetness"] * np.nan}, "finite"),
        ({"noise_sd": 0.0}, "noise_sd"),
    ],
)
def test_wrong_beliefs_are_named(change, message):
    usual = {
        "recipes": Region("abc").grid(0.5),
        "draws": {"sweetness": np.random.default_rng(0).normal(size=(50, 6))},
        "utility": sweetest,
        "noise_sd": 1.0,
    }
    with pytest.raises(InputError, match=message):
        doubt_about(**{**usual, **change})


def test_a_doubt_of_another_model_is_named():
    draws = {"sweetness": np.random.default_rng(0).normal(size=(50, 3))}
    doubt = doubt_about(np.eye(3), draws, sweetest, noise_sd=1, order="linear")
    with pytest.raises(InputError, match="has 3 terms, the model 6"):
        choose_trials(Region("abc"), 4, criterion="decision", doubt=doubt)
