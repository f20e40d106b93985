"""Regions: bounds, membership, implied bounds, grids."""

from __future__ import annotations

import json
from math import comb
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.rooms.mixture.strategies import regions

from coupage.errors import InputError
from coupage.mixture import Group, Region, simplex_centroid

REFERENCES = Path(__file__).parents[2] / "references"
VERTICES = json.loads((REFERENCES / "mixture_vertices" / "values.json").read_text())
POINTS = json.loads((REFERENCES / "mixture_points" / "values.json").read_text())


# Piepel (1983), Technometrics 25:97-101; Cornell (2002) ch. 4.
@pytest.mark.parametrize(
    ("case", "answer"),
    [("flare", "flare"), ("lower bound too low", "lower_bound_too_low")],
)
def test_implied_bounds_are_the_published_ones(case, answer):
    entry = VERTICES["implied-bounds"]
    lower, upper = entry["inputs"]["cases"][case]
    implied = Region([str(i) for i in range(len(lower))], lower, upper).implied()
    assert [implied.lower.tolist(), implied.upper.tolist()] == entry["expected"][answer]


@settings(max_examples=60, deadline=None)
@given(regions(exclusive=True))
def test_implied_bounds_are_attained_and_never_passed(drawn):
    implied, vertices = drawn.region.implied(), drawn.region.vertices()
    np.testing.assert_allclose(implied.lower, vertices.min(axis=0), atol=1e-9)
    np.testing.assert_allclose(implied.upper, vertices.max(axis=0), atol=1e-9)


def test_centroid_of_lower_bounds_is_the_handbooks_pseudo_component_point():
    # NIST/SEMATECH e-Handbook, section 5.5.4.4, Table 5.5: last row, and the vertices.
    entry = POINTS["nist-5544-pseudo"]
    region = Region(["x1", "x2", "x3"], entry["inputs"]["L"])
    printed = np.array(entry["expected"]["original"])
    np.testing.assert_allclose(region.centroid(), printed[-1], atol=1e-4)
    np.testing.assert_allclose(region.vertices(), printed[[2, 1, 0]], atol=1e-12)
    pseudo = simplex_centroid(3) @ region.vertices()[::-1]
    np.testing.assert_allclose(pseudo, printed, atol=1e-4)


@settings(max_examples=60, deadline=None)
@given(regions(exclusive=True))
def test_region_contains_the_recipe_it_was_drawn_around_and_its_vertices(drawn):
    assert drawn.region.contains(drawn.recipe).all()
    assert drawn.region.contains(drawn.region.vertices()).all()


@settings(max_examples=30, deadline=None)
@given(st.integers(1, 5), st.sampled_from([1, 2, 3, 4, 5, 8, 10, 20]))
def test_free_grid_counts_every_composition_once(q, n):
    grid = Region([str(i) for i in range(q)]).grid(1 / n)
    assert len(grid) == comb(n + q - 1, q - 1) == len(np.unique(grid, axis=0))
    assert (np.abs(grid.sum(axis=1) - 1) < 1e-12).all()
    assert (grid * n == np.round(grid * n)).all() or n == 3


@settings(max_examples=60, deadline=None)
@given(regions(most=4, exclusive=True))
def test_grid_is_the_free_grid_less_what_the_region_does_not_contain(drawn):
    free = Region(drawn.region.names).grid(0.05)
    np.testing.assert_array_equal(
        drawn.region.grid(0.05), free[drawn.region.contains(free, tol=1e-12)]
    )
    assert (np.abs(drawn.region.grid(0.05) - drawn.recipe).sum(axis=1) < 1e-9).any()


def test_grid_larger_than_memory_is_refused_before_it_is_built():
    with pytest.raises(InputError, match="coarser step"):
        Region([str(i) for i in range(30)]).grid(0.05)


@pytest.mark.parametrize("step", [0.3, 0, -0.1, 2, float("nan")])
def test_step_must_divide_the_blend(step):
    with pytest.raises(InputError, match="step"):
        Region("ab").grid(step)


def test_bounds_may_be_given_by_name_by_number_or_in_order():
    by_name = Region("abc", lower={"b": 0.2}, upper=0.6)
    assert by_name.lower.tolist() == [0, 0.2, 0]
    assert by_name.upper.tolist() == [0.6] * 3
    assert by_name.limits() == [
        "at most 60 % a",
        "at least 20 % b",
        "at most 60 % b",
        "at most 60 % c",
    ]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"lower": [0.1, 0.2]}, "one number for each of 3"),
        ({"lower": {"z": 0.2}}, "'z' is not a component"),
        ({"upper": 20}, "write 20 % as 0.2"),
        ({"lower": [0.1, float("nan"), 0]}, "shares from 0 to 1"),
        ({"groups": [Group({"z": 1}, upper=0.5)]}, "'z' is not a component"),
        ({"exclusive": [["a", "z"]]}, "z is not a component"),
    ],
)
def test_wrong_limits_are_named(arguments, message):
    with pytest.raises(InputError, match=message):
        Region("abc", **arguments)


def test_wrong_names_and_groups_are_named():
    with pytest.raises(InputError, match="only once"):
        Region(["a", "a"])
    with pytest.raises(InputError, match="not above"):
        Group({"a": 1}, 0.5, 0.4)
    with pytest.raises(InputError, match="no components"):
        Group({}, 0.5)
    with pytest.raises(InputError, match="rows of 3 shares"):
        Region("abc").contains([0.5, 0.5])
