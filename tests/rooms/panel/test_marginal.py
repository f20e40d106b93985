"""The reduced likelihood against the plain one: one big covariance matrix, one ordinary density."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal
from tests.rooms.panel.tables import small_table

from coupage.panel.columns import read_ratings, read_samples
from coupage.panel.conditional import given_scales
from coupage.panel.design import build_layout, build_terms
from coupage.panel.marginal import evaluate, gradient, reduce_table, scales
from coupage.panel.priors import Priors


def prepared(noise_ratio: float, passes: bool):
    ratings, samples, _ = small_table(3)
    if passes:
        ratings["pass_name"] = ["hot", "cool"] * (len(ratings["rating"]) // 2)
        ratings["cup"] = list(range(len(ratings["rating"])))
        ratings["taster"] = ["t0", "t0", "t1", "t1"] * (len(ratings["rating"]) // 4) + ["t0"] * (
            len(ratings["rating"]) % 4
        )
        ratings["attribute"] = ["a0"] * len(ratings["rating"])
    priors = Priors(noise_ratio=noise_ratio)
    given = read_samples(samples, reference_age=3.0)
    table = read_ratings(ratings, given.names, attributes=["a0"], scale=priors.scale)
    rows = np.arange(len(table.rating))
    layout = build_layout(given, np.unique(table.sample), 2 if passes else 0)
    terms = build_terms(table, given, layout, priors, rows)
    groups = table.taster if noise_ratio else np.zeros_like(table.taster)
    count = len(table.tasters) if noise_ratio else 1
    return terms, table, groups, reduce_table(terms, table.rating[None], groups, count, priors)


@pytest.mark.parametrize(("noise_ratio", "passes"), [(0.3, False), (0.0, False), (0.3, True)])
def test_the_reduced_density_is_the_density_of_all_ratings(noise_ratio, passes):
    terms, given, groups, table = prepared(noise_ratio, passes)
    v = np.random.default_rng(1).normal(size=(1, 4, table.dimension))
    expected = []
    for k in range(4):
        at, free = scales(table, v[0, k]), iter(scales(table, v[0, k]).terms)
        covariance = np.diag(at.variance[groups])
        for term in terms:
            sd = next(free) if term.estimated else term.sd
            covariance += sd**2 * (term.columns @ term.columns.T).toarray()
        density = multivariate_normal(np.full(len(given.rating), 5.0), covariance)
        expected.append(density.logpdf(given.rating) - np.square(v[0, k]).sum() / 2)
    found = evaluate(table, v)[0]
    assert np.ptp(found - expected) < 1e-9 * np.abs(expected).max()
    assert np.ptp(found) > 1


@pytest.mark.parametrize(("noise_ratio", "passes"), [(0.3, False), (0.0, False), (0.3, True)])
def test_the_gradient_is_that_of_the_density(noise_ratio, passes):
    table = prepared(noise_ratio, passes)[-1]
    v = np.random.default_rng(2).normal(size=(1, 3, table.dimension))
    step = 1e-5 * np.eye(table.dimension)
    slopes = [(evaluate(table, v + e) - evaluate(table, v - e)) / 2e-5 for e in step]
    assert gradient(table, v) == pytest.approx(np.stack(slopes, axis=-1), abs=1e-6)


@pytest.mark.parametrize(("noise_ratio", "passes"), [(0.3, False), (0.0, True)])
def test_beliefs_given_the_scales_are_those_of_the_joint_gaussian(noise_ratio, passes):
    terms, given, groups, table = prepared(noise_ratio, passes)
    v = np.random.default_rng(4).normal(size=(2, table.dimension))
    found = given_scales(table, 0, scales(table, v))
    for k in range(2):
        at = scales(table, v[k])
        free = iter(at.terms)
        sds = [next(free) if term.estimated else term.sd for term in terms]
        columns = np.hstack([s * t.columns.toarray() for s, t in zip(sds, terms, strict=True)])
        targets = np.hstack([s * t.target.toarray() for s, t in zip(sds, terms, strict=True)])
        total = columns @ columns.T + np.diag(at.variance[groups])
        gain = np.linalg.solve(total, columns @ targets.T).T
        assert found.mean[k] == pytest.approx(gain @ (given.rating - 5), abs=1e-9)
        covariance = targets @ targets.T - gain @ columns @ targets.T
        assert found.covariance[k] == pytest.approx(covariance, abs=1e-9)
