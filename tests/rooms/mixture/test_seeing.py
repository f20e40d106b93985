"""The chance of seeing a difference, against textbook formulas and against simulated tables."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from coupage.errors import InfeasibleError, InputError
from coupage.mixture import Spreads, cups_needed, model_matrix, seen_chance, simplex_lattice

# Sample size of the one-sided two-sample z test, n = 2 ((z_a + z_b) sd / d)^2 in each group:
# NIST/SEMATECH e-Handbook, section 7.2.2.2 (for one sample; twice the variance for two).
Z = norm.ppf(0.95) + norm.ppf(0.8)


@pytest.mark.parametrize(("difference", "noise"), [(1.0, 1.5), (0.5, 1.0), (2.0, 1.2)])
def test_cups_needed_are_those_of_the_z_test(difference, noise):
    expected = int(np.ceil(2 * (Z * noise / difference) ** 2))
    table = cups_needed(difference, 2, 1, spreads=Spreads(noise=noise))
    assert table.cups == expected
    assert table.chance >= 0.8


def test_tasters_and_cups_count_alike_when_only_cups_differ():
    few, many = (
        seen_chance(1, 6, t, c, spreads=Spreads(noise=1.4, taster=1, cupping=0.5))
        for t, c in ((3, 4), (12, 1))
    )
    # Bias and drift are common to all samples of the table: they do not blur a difference.
    assert few.chance == pytest.approx(many.chance, rel=1e-9)
    assert few.chance == pytest.approx(norm.cdf(1 / (1.4 * np.sqrt(2 / 12)) - norm.ppf(0.95)))


def test_another_batch_blurs_what_no_number_of_cups_can_clear():
    spreads = Spreads(noise=1.0, batch=1.0)
    bound = norm.cdf(1 / np.sqrt(2) - norm.ppf(0.95))
    assert seen_chance(1, 2, 30, 30, spreads=spreads).chance == pytest.approx(bound, abs=0.001)
    with pytest.raises(InfeasibleError, match="more batches"):
        cups_needed(1, 2, 6, spreads=spreads)


def simulate(points, contrast, difference, tasters, cups, spreads, prior, n, seed):
    """Play n tables cup by cup; judge each by conditioning on all its ratings at once."""
    rng = np.random.default_rng(seed)
    rows = model_matrix(points, "quadratic")
    s, p = rows.shape
    before = np.linalg.inv(prior)
    size = contrast @ before @ contrast
    left = before - np.outer(before @ contrast, contrast @ before) / size
    half = np.linalg.cholesky(left + 1e-12 * np.eye(p))
    theta = before @ contrast / size * difference + rng.standard_normal((n, p)) @ half.T
    blur = np.sqrt((points**2).sum(axis=1)) * spreads.batch
    sample = theta @ rows.T + blur * rng.standard_normal((n, s))
    bias = spreads.taster * rng.standard_normal((n, 1, tasters, 1))
    day = spreads.cupping * rng.standard_normal((n, 1, 1, 1))
    cup = spreads.noise * rng.standard_normal((n, s, tasters, cups))
    y = (sample[:, :, None, None] + bias + day + cup).reshape(n, -1)
    # Joint normal of coefficients and ratings, told rating by rating.
    shape = (s, tasters, cups)
    of_sample, of_taster = (np.indices(shape)[k].ravel() for k in (0, 1))
    design = rows[of_sample]
    covariance = design @ before @ design.T + spreads.noise**2 * np.eye(len(design))
    covariance += spreads.cupping**2
    covariance += spreads.taster**2 * (of_taster[:, None] == of_taster)
    covariance += (blur**2)[of_sample][:, None] * (of_sample[:, None] == of_sample)
    gain = np.linalg.solve(covariance, design @ before @ contrast)
    sd = np.sqrt(size - contrast @ before @ design.T @ gain)
    return float((norm.cdf(y @ gain / sd) >= 0.95).mean())


@pytest.mark.parametrize(("tasters", "cups"), [(3, 1), (2, 3)])
def test_simulated_tables_show_the_difference_as_often_as_computed(tasters, cups):
    points = simplex_lattice(3, 2)
    a, b = np.array([0.6, 0.2, 0.2]), np.array([0.1, 0.6, 0.3])
    spreads = Spreads(noise=0.9, taster=1.0, cupping=0.5, batch=0.3)
    prior = np.diag([0.25] * 3 + [0.06] * 3)
    contrast = np.subtract(*model_matrix([a, b], "quadratic"))
    table = seen_chance(
        0.9, points, tasters, cups, spreads=spreads, between=(a, b), prior_precision=prior
    )
    n = 20_000
    found = simulate(points, contrast, 0.9, tasters, cups, spreads, prior, n, seed=tasters)
    error = np.sqrt(table.chance * (1 - table.chance) / n)
    assert found == pytest.approx(table.chance, abs=4 * error)
    assert 0.2 < table.chance < 0.95  # a table that can fail either way


def test_a_vague_prior_changes_nothing():
    points = simplex_lattice(3, 2)
    spreads = Spreads(noise=1.0, taster=0.8, batch=0.2)
    flat = seen_chance(1, points, 4, spreads=spreads)
    vague = seen_chance(1, points, 4, spreads=spreads, prior_precision=1e-7 * np.eye(6))
    assert vague.chance == pytest.approx(flat.chance, abs=1e-4)
    assert flat.least < flat.chance


@pytest.mark.parametrize(
    ("noise", "often"),
    [
        # noise * sqrt(2/9) = 1 / (1.645 + z), z the normal quantile of .99, .95, .9, .8, .2.
        (0.534, "almost every time"),
        (0.645, "19 times in 20"),
        (0.725, "9 times in 10"),
        (0.853, "8 times in 10"),
        (2.641, "2 times in 10"),
    ],
)
def test_words_say_it_as_a_roaster_would(noise, often):
    table = seen_chance(1, 6, 3, 3, spreads=Spreads(noise=noise))
    assert table.words("body").endswith(f"of one point in body would be seen {often}.")
    assert table.words("body").startswith("With 6 samples and 3 tasters rating 3 cups of each, ")


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"difference": 0}, "difference"),
        ({"points": 1}, "two or more"),
        ({"points": [[0.5, 0.4]]}, "sum to 1"),
        ({"tasters": 0}, "at least 1"),
        ({"sure": 1.0}, "sure"),
        ({"between": ([1, 0], [1, 0])}, "the same"),
        ({"between": ([1, 0, 0], [0, 1, 0])}, "2 shares each"),
        ({"points": [[1, 0], [0, 1]], "between": ([1, 0], [0.5, 0.5])}, "cannot tell"),
        ({"points": [[1, 0], [0, 1]], "prior_precision": np.zeros((3, 3))}, "positive definite"),
    ],
)
def test_wrong_questions_are_named(arguments, message):
    usual = {"difference": 1, "points": 2, "tasters": 3}
    with pytest.raises(InputError, match=message):
        seen_chance(**{**usual, **arguments}, spreads=Spreads(noise=1))
    with pytest.raises(InputError, match="noise"):
        Spreads(noise=0)


def test_a_repeat_from_the_same_batches_tells_nothing_new_about_the_batch():
    # Two coffees, each poured twice. From batches of their own the repeats halve the batches'
    # variance; from one batch of each coffee they do not. (Variance of a difference of means.)
    points = np.repeat(np.eye(2), 2, axis=0)
    spreads = Spreads(noise=0.8, batch=0.5)
    own = seen_chance(1, points, 4, spreads=spreads, order="linear")
    one = seen_chance(1, points, 4, spreads=spreads, order="linear", one_batch=True)
    assert own.sd == pytest.approx(np.sqrt(2 * (0.25 + 0.64 / 4) / 2))
    assert one.sd == pytest.approx(np.sqrt(2 * (0.25 + 0.64 / 4 / 2)))
    assert one.chance < own.chance


def test_blends_of_one_batch_each_are_blurred_alike():
    # Between two blends of the same batches only the difference of the shares is blurred.
    points = np.array([[0.6, 0.4], [0.4, 0.6]])
    spreads = Spreads(noise=1e-6, batch=1.0)
    table = seen_chance(1, points, 1, spreads=spreads, order="linear", one_batch=True)
    assert table.sd == pytest.approx(np.sqrt(2 * 0.2**2), rel=1e-6)
