"""Importance sampling against plain sampling from the priors, which needs no proposal at all."""

from __future__ import annotations

import numpy as np
import pytest
from tests.rooms.panel.test_marginal import prepared

from coupage.panel.importance import find_modes, integrate, latin_t
from coupage.panel.marginal import evaluate, gradient


@pytest.fixture(scope="module")
def table():
    return prepared(0.3, passes=False)[-1]


def test_integration_agrees_with_weighing_draws_from_the_priors(table):
    rng = np.random.default_rng(0)
    v = rng.standard_normal((400_000, table.dimension))
    value = np.concatenate([evaluate(table, part[None])[0] for part in np.split(v, 20)])
    # Their own density cancels the prior's part of the target.
    likelihood = value + np.square(v).sum(axis=1) / 2
    weight = np.exp(likelihood - likelihood.max())
    weight /= weight.sum()
    assert 1 / np.square(weight).sum() > 1500
    mean = weight @ v
    sd = np.sqrt(weight @ np.square(v - mean))
    found = integrate(table, np.random.default_rng(1))[0]
    assert found.effective > 400
    assert found.weight.sum() == pytest.approx(1)
    mine = found.weight @ found.v
    assert mine == pytest.approx(mean, abs=0.12)
    spread = np.sqrt(found.weight @ np.square(found.v - mine))
    assert spread == pytest.approx(sd, rel=0.1)
    # Without weights the proposals' heavy tails would stay in.
    plain = found.v.std(axis=0) / sd
    assert np.mean(plain) > 1.05
    assert np.mean(spread / sd) == pytest.approx(1, abs=0.04)


def test_the_mode_has_no_slope_and_bends_down_every_way(table):
    mode, bend = find_modes(table)
    assert np.abs(gradient(table, mode[:, None, :])).max() < 0.05
    assert np.linalg.eigvalsh(bend).min() >= 0.5
    here = evaluate(table, mode[:, None, :])[0, 0]
    around = mode[:, None, :] + 0.3 * np.random.default_rng(2).standard_normal((1, 50, mode.size))
    assert evaluate(table, around).max() < here


def test_a_poor_first_proposal_is_rebuilt_until_enough_draws_count(table, monkeypatch):
    def shifted(_):
        mode, bend = find_modes(table)
        return mode + 1.5 * np.diagonal(bend, axis1=1, axis2=2) ** -0.5, 2 * bend

    monkeypatch.setattr("coupage.panel.importance.find_modes", shifted)
    found = integrate(table, np.random.default_rng(1))[0]
    assert found.rounds > 2
    assert found.effective > 200


def test_latin_draws_fill_every_stratum_and_have_the_spread_of_a_t():
    z = latin_t(2000, 3, np.random.default_rng(0))
    assert z.mean(axis=0) == pytest.approx([0, 0, 0], abs=0.03)
    # Variance of a t with 12 degrees of freedom: 12 / 10.
    assert z.var(axis=0) == pytest.approx([1.2] * 3, rel=0.05)
