"""What a choice leaves out rests on these: a bound below the truth would lose recipes unseen."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.rooms.recipe.fake import FakeBeliefs, make

from coupage.recipe.bounds import Event
from coupage.recipe.lattice import cells, lattice, steepest
from coupage.recipe.posterior import Posterior, read_posterior

K, PARTS = 3, 10


def every(q: int) -> np.ndarray:
    from itertools import combinations

    return np.array(list(combinations(range(q), K)))


def points(q: int, cups: np.ndarray) -> np.ndarray:
    """Compositions of every cup as rows over all coffees, (cups * compositions, q)."""
    shares = lattice(K, PARTS, 1).shares
    x = np.zeros((len(cups), len(shares), q))
    for n, cup in enumerate(cups):
        x[n][:, cup] = shares
    return x.reshape(-1, q)


def event_of(beliefs: FakeBeliefs, low: float, high: float) -> Event:
    places = np.arange(len(beliefs.components))
    return Event("attribute 1", low, high, read_posterior(beliefs, "attribute 1", places))


cases = st.tuples(
    st.integers(0, 10_000),
    st.integers(1, 8),
    st.sampled_from([0.3, 1.0, 3.0]),
    st.sampled_from([(5.0, math.inf), (-math.inf, 5.5), (4.5, 6.0), (5.0, 5.3), (8.0, math.inf)]),
)


@settings(deadline=None, max_examples=40)
@given(cases)
def test_no_bound_is_below_the_chance(case: tuple[int, int, float, tuple[float, float]]) -> None:
    seed, parts, draws, (low, high) = case
    rng = np.random.default_rng(seed)
    beliefs = make(4, 1, parts, rng, cuppings=int(rng.integers(1, 12)), draws=draws)
    event, cups, ways = event_of(beliefs, low, high), every(4), lattice(K, PARTS, 1)
    truth = beliefs.chance_between(points(4, cups), "attribute 1", low, high)
    truth = truth.reshape(len(cups), -1)
    outlook = event.outlook(cups, 0.0)
    assert np.all(event.loose(outlook, ways) >= truth - 1e-9)
    rows, columns = (grid.ravel() for grid in np.indices(truth.shape))
    assert np.all(event.tight(cups, outlook, ways, rows, columns) >= truth.ravel() - 1e-9)
    few = rng.choice(len(rows), 3, replace=False)
    few.sort()
    sparse = event.tight(cups, outlook, ways, rows[few], columns[few])
    assert np.all(sparse >= truth.ravel()[few] - 1e-9)


@settings(deadline=None, max_examples=40)
@given(cases, st.floats(0.05, 0.95))
def test_no_recipe_with_the_chance_lies_outside_the_window(
    case: tuple[int, int, float, tuple[float, float]], needed: float
) -> None:
    seed, parts, draws, (low, high) = case
    beliefs = make(4, 1, parts, np.random.default_rng(seed), draws=draws)
    event, cups, ways = event_of(beliefs, low, high), every(4), lattice(K, PARTS, 1)
    truth = beliefs.chance_between(points(4, cups), "attribute 1", low, high)
    truth = truth.reshape(len(cups), -1)
    outlook = event.outlook(cups, needed)
    good = truth >= needed
    assert np.all(outlook.holds(ways) | ~good)
    assert np.all(outlook.reachable(ways) | ~good.any(axis=1))


def test_the_bounds_leave_out_most_of_what_is_bad() -> None:
    """Sharp enough to be of use: on average within 0.03 of the chance where that is above 0.8."""
    beliefs = make(4, 1, 12, np.random.default_rng(2), cuppings=20)
    event, cups, ways = event_of(beliefs, 5.0, math.inf), every(4), lattice(K, PARTS, 1)
    truth = beliefs.chance_between(points(4, cups), "attribute 1", 5.0, math.inf)
    rows, columns = (g.ravel() for g in np.indices((len(cups), len(ways.steps))))
    bound = event.tight(cups, event.outlook(cups, 0.0), ways, rows, columns)
    good = truth > 0.8
    assert good.sum() > 10
    assert (bound - truth)[good].mean() < 0.03


def test_the_mean_square_of_the_variances_is_bounded_from_both_sides() -> None:
    beliefs = make(5, 1, 16, np.random.default_rng(5), draws=2.0)
    posterior = read_posterior(beliefs, "attribute 1", np.arange(5))
    cups, ways = every(5), lattice(K, PARTS, 1)
    _, quartic = posterior.part_coefficients(cups)
    variances = quartic @ ways.degree4
    truth = np.tensordot(posterior.weights, variances**2, axes=1)
    principal = np.square(posterior.shape_coefficients(cups) @ ways.degree4).sum(axis=1)
    assert len(posterior.shapes) < posterior.parts
    assert np.all(principal <= truth * (1 + 1e-9))
    assert np.all(principal + posterior.rest * ways.lengths >= truth * (1 - 1e-9))


def test_what_the_principal_parts_leave_out_is_made_up_for() -> None:
    """All of it left out: the allowance alone must keep the bound above the chance."""
    beliefs = make(4, 1, 8, np.random.default_rng(5), cuppings=1, draws=4.0)
    event, cups, ways = event_of(beliefs, 5.5, math.inf), every(4), lattice(K, PARTS, 1)
    posterior = event.posterior
    most = float(posterior.weights @ (posterior.covariances**2).sum(axis=1))
    blind = replace(posterior, shapes=0 * posterior.shapes, rest=most)
    truth = beliefs.chance_between(points(4, cups), "attribute 1", 5.5, math.inf)
    rows, columns = (g.ravel() for g in np.indices((len(cups), len(ways.steps))))
    outlook = event.outlook(cups, 0.0)
    bound = replace(event, posterior=blind).tight(cups, outlook, ways, rows, columns)
    assert np.all(bound >= truth - 1e-9)
    nothing = replace(posterior, shapes=0 * posterior.shapes, rest=0.0)
    bound = replace(event, posterior=nothing).tight(cups, outlook, ways, rows, columns)
    assert np.any(bound < truth - 1e-6)


def with_unseen(posterior: Posterior, beliefs: FakeBeliefs, unseen: np.ndarray) -> FakeBeliefs:
    """The same beliefs in full, for beliefs whose last pair was never cupped."""
    mix = beliefs.mixture("attribute 1")
    mix.means[:, -1] = 0
    mix.covariances[:, -1, :] = mix.covariances[:, :, -1] = 0
    mix.covariances[:, -1, -1] = unseen
    return beliefs


def test_pairs_never_cupped_count_as_if_they_were_written_out() -> None:
    from coupage.recipe.posterior import _arrange

    rng = np.random.default_rng(6)
    beliefs = make(4, 1, 3, rng)
    unseen = np.array([0.5, 1.0, 2.5])
    full = with_unseen(event_of(beliefs, 5, 6).posterior, beliefs, unseen)
    mix = full.mixture("attribute 1")
    written_out = event_of(full, 5, 6).posterior
    d = mix.means.shape[1] - 1
    compact = _arrange(
        mix.weights, mix.means[:, :d], mix.covariances[:, :d, :d], unseen, written_out.place
    )
    cups, ways = every(4), lattice(K, PARTS, 1)
    for one, other in zip(
        [*compact.part_coefficients(cups), *compact.spread_coefficients(cups)],
        [*written_out.part_coefficients(cups), *written_out.spread_coefficients(cups)],
        strict=True,
    ):
        assert one == pytest.approx(other, abs=1e-12)
    _, quartic = compact.part_coefficients(cups)
    truth = np.tensordot(compact.weights, (quartic @ ways.degree4) ** 2, axes=1)
    principal = np.square(compact.shape_coefficients(cups) @ ways.degree4).sum(axis=1)
    assert np.all(principal + compact.rest * ways.lengths >= truth * (1 - 1e-9))


@pytest.mark.parametrize("k", [1, 2, 3, 4])
def test_polynomials_on_the_lattice_are_the_model(k: int) -> None:
    """z'mu and z'Sigma z by their definition, from the terms of the beliefs."""
    beliefs = make(5, 1, 3, np.random.default_rng(k))
    posterior = read_posterior(beliefs, "attribute 1", np.arange(5))
    mix = beliefs.mixture("attribute 1")
    cup, ways = np.array([[4, 2, 0, 1][:k]]), lattice(k, 8, 1)
    x = np.zeros((len(ways.shares), 5))
    x[:, cup[0]] = ways.shares
    z = beliefs.terms(x)
    means, variances = posterior.part_coefficients(cup)
    assert means[:, 0] @ ways.degree2 == pytest.approx(mix.means @ z.T, abs=1e-12)
    direct = np.einsum("np,kpr,nr->kn", z, mix.covariances, z)
    assert variances[:, 0] @ ways.degree4 == pytest.approx(direct, abs=1e-12)
    assert ways.lengths == pytest.approx((z**2).sum(axis=1) ** 2, abs=1e-12)


@settings(deadline=None, max_examples=30)
@given(st.integers(0, 10_000), st.sampled_from([5, 10, 7]))
def test_a_mean_moves_no_more_inside_its_cell_than_said(seed: int, coarse: int) -> None:
    parts = 20
    rng = np.random.default_rng(seed)
    ways, around = lattice(K, parts, 1), cells(K, parts, 1, coarse)
    quadratic = rng.normal(0, 3, (1, len(ways.degree2)))
    most = around.radius * steepest(quadratic, K)[0]
    fine, centres = (quadratic @ ways.degree2)[0], (quadratic @ around.degree2)[0]
    seen = 0
    for i, centre in enumerate(centres):
        members = around.members(np.arange(len(centres)) == i)
        seen += len(members)
        assert np.all(np.abs(fine[members] - centre) <= most + 1e-12)
    assert seen == len(ways.steps)
