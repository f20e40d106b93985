"""Uniform points and exact averages."""

from __future__ import annotations

from math import factorial, prod

import numpy as np
import pytest
from hypothesis import given, settings
from tests.rooms.mixture.strategies import regions

from coupage.mixture import Group, Region
from coupage.mixture.pieces import uniform_points


@settings(max_examples=40, deadline=None)
@given(regions(exclusive=True))
def test_samples_are_recipes_of_the_region(drawn):
    x = drawn.region.sample(20, rng=np.random.default_rng(3))
    assert x.shape == (20, drawn.region.q)
    assert drawn.region.contains(x, tol=1e-7).all()


def dirichlet_moment(powers):
    """E prod x_i^a_i over the simplex: (q-1)! prod a_i! / (q-1+sum a)! (Dirichlet integral)."""
    q = len(powers)
    top = factorial(q - 1) * prod(factorial(a) for a in powers)
    return top / factorial(q - 1 + sum(powers))


@pytest.mark.parametrize(
    "powers", [(1, 0, 0), (2, 2, 0), (1, 1, 2), (4, 0, 0, 0), (2, 2, 2, 0), (2, 1, 1, 1, 1, 0, 0)]
)
def test_averages_over_the_simplex_are_dirichlet_moments(powers):
    x, weights = Region([str(i) for i in range(len(powers))]).average_points(sum(powers))
    assert weights @ np.prod(x**powers, axis=1) == pytest.approx(
        dirichlet_moment(powers), rel=1e-11
    )


@settings(max_examples=25, deadline=None)
@given(regions(least=3, most=4, groups=False))
def test_averages_of_a_bounded_region_agree_with_a_triangulation(drawn):
    # The same region told as linear limits takes the other way: vertices, then simplices.
    bounded = drawn.region
    names = bounded.names
    linear = Region(
        names,
        groups=[
            Group({n: 1.0}, low, high)
            for n, low, high in zip(names, bounded.lower, bounded.upper, strict=True)
        ],
    )
    for region in (bounded, linear):
        assert region.average_points(4)[1].sum() == pytest.approx(1)
    moments = [
        np.einsum("m,mi,mj,mk->ijk", w, x, x, x)
        for x, w in (bounded.average_points(4), linear.average_points(4))
    ]
    np.testing.assert_allclose(moments[0], moments[1], atol=1e-10)


# A trapezium: x1 between 0.2 and 0.6 of three shares; density of x1 falls as 1 - x1.
# Mean by hand: integral of t(1-t) over integral of (1-t), t from 0.2 to 0.6.
TRAPEZIUM_MEAN = ((0.36 - 0.04) / 2 - (0.216 - 0.008) / 3) / (0.4 - (0.36 - 0.04) / 2)


@pytest.mark.parametrize("told", ["bounds", "groups"])
def test_centroid_of_a_trapezium_is_the_one_worked_by_hand(told):
    if told == "bounds":
        region = Region("abc", [0.2, 0, 0], [0.6, 1, 1])
    else:
        region = Region("abc", groups=[Group({"a": 1}, 0.2, 0.6)])
    rest = (1 - TRAPEZIUM_MEAN) / 2
    np.testing.assert_allclose(region.centroid(), [TRAPEZIUM_MEAN, rest, rest], atol=1e-9)


def ways():
    wide = Region("abcd", upper=0.5)
    thin = Region("abcd", groups=[Group({"a": 1, "b": -1}, -0.0004, 0.0004)])
    q = 9
    long = Region([str(i) for i in range(q)], groups=[Group({"0": 1, "1": -1}, 0, 0)])
    return [
        pytest.param(wide, id="rejection"),
        pytest.param(thin, id="triangulation"),
        pytest.param(long, id="hit and run"),
    ]


@pytest.mark.parametrize("region", ways())
def test_first_and_second_moments_of_samples_are_the_exact_ones(region):
    # Exact values by a way that the sample did not take: c and d are exchangeable, and the equal
    # shares of a and b leave a Dirichlet over (a + b, c, ...) with parameters (1, 1, ...).
    n = 4000
    x = region.sample(n, rng=np.random.default_rng(8))
    if region.q == 9:
        mean, square = np.full(9, 1 / 8), 2 / (8 * 9)
        mean[:2] /= 2
        last = x[:, -1]
    elif region.groups:
        mean, square = np.array([1 / 6, 1 / 6, 1 / 3, 1 / 3]), 2 / (3 * 4)
        last = x[:, -1]
    else:
        # Shares of at most a half: x = 1/2 - z turns the cut simplex around; by inclusion and
        # exclusion E x^2 = (1/10 - 4 (1/8) E'...) worked out with the Dirichlet integral.
        whole = dirichlet_moment((2, 0, 0, 0))
        own = (1 / 8) * (1 / 4 + 2 * 0.5 * 0.5 / 4 + 0.25 * whole)
        other = (1 / 8) * 0.25 * whole
        mean, square = np.full(4, 0.25), (whole - own - 3 * other) / (1 - 4 / 8)
        last = x[:, -1]
    error = 5 / np.sqrt(n)
    np.testing.assert_allclose(x.mean(axis=0), mean, atol=error * 0.3)
    spread = last.std() ** 2
    exact = square - mean[-1] ** 2
    assert spread == pytest.approx(exact, rel=5 * np.sqrt(3 / n))


def test_samples_of_exclusive_pieces_are_shared_by_volume():
    # a or b: the piece with b is cut to half its length, so it gets a third of the recipes.
    region = Region("abc", upper={"b": 0.5}, exclusive=["ab"])
    x = region.sample(6000, rng=np.random.default_rng(5))
    assert (x[:, 1] > 0).mean() == pytest.approx(1 / 3, abs=5 * np.sqrt(2 / 9 / 6000))


def test_the_generator_decides_the_sample():
    region = Region("abc", upper=0.6)
    one, same, other = (region.sample(5, rng=np.random.default_rng(s)) for s in (1, 1, 2))
    assert (one == same).all()
    assert (one != other).any()


def test_large_regions_are_sampled_too():
    region = Region([str(i) for i in range(40)], upper=0.05)
    x = region.sample(50, rng=np.random.default_rng(0))
    assert region.contains(x, tol=1e-7).all()
    assert uniform_points(region._piece(), 3, np.random.default_rng(0)).shape == (3, 40)
