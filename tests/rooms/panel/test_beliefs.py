"""The questions that Beliefs answers agree with each other and with plain arithmetic."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm
from tests.rooms.panel.tables import small_table

from coupage.errors import InputError
from coupage.panel import Beliefs, Comparison, Priors, fit


@pytest.fixture(scope="module")
def beliefs() -> Beliefs:
    ratings, samples, _ = small_table(1)
    return fit(ratings, samples, extra_components=["new"])


def test_draws_are_the_coefficients_times_the_terms(beliefs):
    x = np.array([[0.5, 0.25, 0.25, 0], [0, 0, 0, 1]])
    coefficients = beliefs.coefficients("a0", n=50, seed=4)
    assert coefficients.shape == (50, 10)
    expected = coefficients @ beliefs.terms(x).T
    assert np.array_equal(beliefs.draws(x, "a0", n=50, seed=4), expected)


def test_draws_moments_profile_and_chances_tell_one_story(beliefs):
    recipe = {"hill": 0.3, "lake": 0.4, "new": 0.3}
    x = np.array([[0.3, 0.4, 0, 0.3]])
    mean, covariance = beliefs.moments("a1")
    line = beliefs.terms(x)[0]
    profile = beliefs.profile(recipe)["a1"]
    assert profile.mean == pytest.approx(line @ mean, abs=1e-10)
    assert profile.sd == pytest.approx(np.sqrt(line @ covariance @ line), rel=1e-9)
    draws = beliefs.draws(x, "a1", n=40_000, seed=2)[:, 0]
    assert draws.mean() == pytest.approx(profile.mean, abs=4 * profile.sd / 200)
    assert draws.std() == pytest.approx(profile.sd, rel=0.03)
    assert np.quantile(draws, 0.95) == pytest.approx(profile.high90, abs=0.06)
    chance = beliefs.chance_between(x, "a1", profile.low90, profile.high90)[0]
    assert chance == pytest.approx(0.9, abs=1e-6)
    assert beliefs.chance_between(x, "a1", -np.inf, profile.low50)[0] == pytest.approx(0.25)
    assert beliefs.chance_between(x, "a1", -np.inf, np.inf)[0] == 1


def test_restricting_changes_no_answer(beliefs):
    recipe = {"lake": 0.6, "new": 0.4}
    small = beliefs.restrict(["new", "lake"])
    assert small.components == ("new", "lake")
    whole, part = beliefs.profile(recipe), small.profile(recipe)
    assert part["a0"].mean == pytest.approx(whole["a0"].mean, abs=1e-12)
    assert part["a0"].high90 == pytest.approx(whole["a0"].high90, abs=1e-9)
    x, y = np.array([[0, 0.6, 0, 0.4]]), np.array([[0.4, 0.6]])
    assert small.chance_between(y, "a0", 4, 6) == pytest.approx(
        beliefs.chance_between(x, "a0", 4, 6), abs=1e-12
    )


def test_a_coffee_never_cupped_is_believed_average_with_wide_doubt(beliefs):
    known = [beliefs.profile({name: 1.0})["a0"] for name in ("hill", "lake", "shore")]
    new = beliefs.profile({"new": 1.0})["a0"]
    assert new.sd > 1.5 * max(k.sd for k in known)
    assert min(k.mean for k in known) < new.mean < max(k.mean for k in known)


def test_beliefs_survive_bytes(beliefs):
    again = Beliefs.from_bytes(beliefs.to_bytes())
    assert again.fingerprint == beliefs.fingerprint
    assert again.profile({"hill": 0.5, "lake": 0.5}) == beliefs.profile({"hill": 0.5, "lake": 0.5})
    assert again.compare("S0", "S5", 0.5) == beliefs.compare("S0", "S5", 0.5)
    assert again.spread() == beliefs.spread()
    assert again.priors == beliefs.priors
    with pytest.raises(InputError, match="not stored beliefs"):
        Beliefs.from_bytes(b"something else")


def test_the_same_call_gives_the_same_beliefs_and_another_seed_nearly_so():
    ratings, samples, _ = small_table(1)
    one, two = fit(ratings, samples, seed=3), fit(ratings, samples, seed=3)
    other = fit(ratings, samples, seed=4)
    assert one.to_bytes() == two.to_bytes()
    assert one.fingerprint != other.fingerprint
    a, b = one.profile({"hill": 1.0})["a0"], other.profile({"hill": 1.0})["a0"]
    assert a.mean != b.mean
    assert a.mean == pytest.approx(b.mean, abs=0.1 * a.sd)
    assert a.sd == pytest.approx(b.sd, rel=0.08)


def test_an_attribute_does_not_depend_on_which_others_are_fitted():
    ratings, samples, _ = small_table(1)
    both, one = fit(ratings, samples), fit(ratings, samples, attributes=["a1"])
    assert one.attributes == ("a1",)
    first = both.profile({"hill": 1.0})["a1"].mean
    assert one.profile({"hill": 1.0})["a1"].mean == pytest.approx(first, abs=1e-9)


def test_two_samples_differ_by_their_batches_too_and_recipes_do_not(beliefs):
    sample = beliefs.compare("S0", "S5", 0.5)["a0"]
    recipe = beliefs.compare({"hill": 1.0}, {"hill": 1.0}, 0.5)["a0"]
    assert sample.sd > 0.05
    assert (recipe.difference, recipe.sd, recipe.verdict) == (0, 0, "same")
    mixed = beliefs.compare("S0", {"hill": 1.0}, 0.5)["a0"]
    assert 0 < mixed.sd < sample.sd * 1.5


def test_comparing_the_other_way_round_turns_the_sign(beliefs):
    one = beliefs.compare("S0", {"lake": 0.5, "shore": 0.5}, 0.4)["a0"]
    two = beliefs.compare({"lake": 0.5, "shore": 0.5}, "S0", 0.4)["a0"]
    assert two.difference == pytest.approx(-one.difference)
    assert two.chance_higher == pytest.approx(one.chance_lower, abs=1e-9)
    assert two.chance_same == pytest.approx(one.chance_same, abs=1e-9)


def test_doubt_alone_never_makes_a_difference():
    ratings, samples, _ = small_table(1)
    empty = {**ratings, "rating": [None] * len(ratings["rating"])}
    prior = fit(empty, samples, attributes=["a0"])
    found = prior.compare("S0", "S1", 0.05)["a0"]
    assert found.chance_same < 0.1
    assert found.verdict == "not enough cups"
    assert prior.joint("S0", "S1", 0.05).verdict == "not enough cups"


def comparison(difference: float, sd: float, tolerance: float = 0.5) -> Comparison:
    higher = float(norm.sf((tolerance - difference) / sd))
    lower = float(norm.cdf((-tolerance - difference) / sd))
    same = 1 - higher - lower
    verdict = "same" if same >= 0.9 else "different" if max(higher, lower) >= 0.9 else None
    return Comparison(
        difference, sd, 0, 0, same, 0.5, verdict or "not enough cups", higher, lower,
        tolerance, 0.9, cup_sd=1.2,
    )  # fmt: skip


def test_further_cups_settle_it_as_often_as_they_promise():
    """Simulate the further cups: the promised number does, one fewer does not (4 % noise)."""
    open_ = comparison(0.1, 0.4)
    n = open_.further_cups()
    assert n is not None
    assert n > 1
    rng = np.random.default_rng(0)

    def settled(cups: int) -> float:
        truth = rng.normal(open_.difference, open_.sd, 20_000)
        seen = truth + rng.normal(0, open_.cup_sd / np.sqrt(cups), truth.size)
        precision = 1 / open_.sd**2 + cups / open_.cup_sd**2
        mean = (open_.difference / open_.sd**2 + seen * cups / open_.cup_sd**2) / precision
        sd = precision**-0.5
        higher, lower = norm.sf((0.5 - mean) / sd), norm.cdf((-0.5 - mean) / sd)
        return float(((1 - higher - lower >= 0.9) | (np.maximum(higher, lower) >= 0.9)).mean())

    assert settled(n) == pytest.approx(0.8, abs=0.015)
    assert settled(max(1, n // 2)) < 0.8


def test_a_difference_at_the_tolerance_is_not_settled_by_any_number_of_cups():
    assert comparison(0.5, 0.01).further_cups(most=50) is None
    assert comparison(0.0, 0.01).further_cups() == 0


def test_the_threshold_is_a_setting(beliefs):
    strict = beliefs.compare("S0", "S1", 0.5, threshold=0.999)["a0"]
    loose = beliefs.compare("S0", "S1", 0.5, threshold=0.55)["a0"]
    assert strict.chance_same == loose.chance_same
    assert (strict.threshold, loose.threshold) == (0.999, 0.55)
    with pytest.raises(InputError, match="threshold"):
        beliefs.compare("S0", "S1", 0.5, threshold=1.0)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda b: b.profile({"hil": 1.0}), "did you mean 'hill'"),
        (lambda b: b.profile({"hill": 0.5}), "adds up to 0.5"),
        (lambda b: b.profile({"hill": 1.5, "lake": -0.5}), "shares from 0"),
        (lambda b: b.compare("S9", "S1", 1), "no sample 'S9'"),
        (lambda b: b.compare("S0", "S1", {"a0": 1}), "none for 'a1'"),
        (lambda b: b.compare("S0", "S1", 0), "above 0"),
        (lambda b: b.mixture("a7"), "'a7' was not fitted"),
        (lambda b: b.restrict(["hill", "hill"]), "each once"),
        (lambda b: b.terms(np.ones((2, 3))), "shape"),
        (lambda b: b.profile({"hill": 1.0}, pass_name="cold"), "was not tasted"),
    ],
)
def test_a_wrong_question_is_answered_with_the_remedy(beliefs, call, message):
    with pytest.raises(InputError, match=message):
        call(beliefs)


def test_wrong_priors_are_named():
    with pytest.raises(InputError, match="taster is -1"):
        Priors(taster=-1)
