"""Slopes of taste on roast numbers: least squares at one end, shrinkage at the other."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from coupage.errors import InputError
from coupage.roast import associations

LONGLEY = json.loads(
    (Path(__file__).parents[2] / "references/panel_strd/regression.json").read_text()
)["longley"]


def test_flat_slopes_are_the_certified_ones_of_longley() -> None:
    """NIST StRD Longley: six collinear columns, 16 rows; slopes per unit to six digits."""
    x, y = np.array(LONGLEY["x"], dtype=float), np.array(LONGLEY["y"], dtype=float)
    x = x.reshape(len(y), -1)
    certified = np.array(LONGLEY["b"], dtype=float)[-x.shape[1] :]
    found = associations(x, y, names=list("abcdef"), slope_scale=np.inf, noise_scale=np.inf)
    slopes = [one.mean / one.step for one in found]
    np.testing.assert_allclose(slopes, certified, rtol=1e-6)


def test_given_one_scale_and_one_noise_it_is_ridge_regression() -> None:
    """The mean lies between none and least squares, and equals ridge at a plugged-in ratio."""
    from coupage.roast.associations import _posterior

    rng = np.random.default_rng(5)
    x = rng.normal(size=(12, 3))
    z = (x - x.mean(0)) / x.std(0, ddof=1)
    y = rng.normal(size=12)
    one = np.ones(1)
    _, means, sds = _posterior(z, y, np.zeros(12), 0.4 * one, 0.7 * one, 0 * one)
    ridge = np.linalg.inv(z.T @ z + (0.7 / 0.4) ** 2 * np.eye(3))
    np.testing.assert_allclose(means[0], ridge @ z.T @ (y - y.mean()), rtol=1e-9)
    np.testing.assert_allclose(sds[0], 0.7 * np.sqrt(np.diag(ridge)), rtol=1e-9)


def test_intervals_hold_the_truth_about_as_often_as_they_say() -> None:
    """100 roasteries of 10 batches and 3 numbers from the model's own priors."""
    rng = np.random.default_rng(6)
    inside = []
    for _ in range(100):
        x = rng.normal(size=(10, 3))
        z = (x - x.mean(0)) / x.std(0, ddof=1)
        truth = rng.normal(0, abs(rng.normal(0, 0.5)), 3)
        se = rng.uniform(0.1, 0.4, 10)
        y = z @ truth + rng.normal(0, np.hypot(se, abs(rng.normal(0, 0.5))))
        found = associations(x, y, names="abc", error=se)
        inside += [a.low90 < t < a.high90 for a, t in zip(found, truth, strict=True)]
    assert np.mean(inside) == pytest.approx(0.9, abs=4 * np.sqrt(0.09 / 100))


def test_few_batches_of_pure_chance_say_little() -> None:
    rng = np.random.default_rng(7)
    x, y = rng.normal(size=(6, 4)), rng.normal(0, 0.3, 6)
    found = associations(x, y, names="abcd", error=np.full(6, 0.3))
    assert all(a.low90 < 0 < a.high90 for a in found)
    z = (x - x.mean(0)) / x.std(0, ddof=1)
    plain = np.linalg.lstsq(np.column_stack([np.ones(6), z]), y, rcond=None)[0][1:]
    assert np.abs([a.mean for a in found]).max() < 0.5 * np.abs(plain).max()


@pytest.mark.parametrize(
    ("x", "y", "said"),
    [
        (np.zeros((5, 1)), np.arange(5.0), "does not vary"),
        (np.arange(3.0)[:, None], np.arange(3.0), "at least 4"),
        (np.arange(5.0)[:, None], np.arange(4.0), "one row a batch"),
        (np.arange(5.0)[:, None], np.array([1, 2, np.nan, 4, 5]), "is missing"),
    ],
)
def test_bad_input_is_named(x: np.ndarray, y: np.ndarray, said: str) -> None:
    with pytest.raises(InputError, match=said):
        associations(x, y, names=["time"])
