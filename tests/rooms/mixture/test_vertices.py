"""Vertices against published regions, a count formula and another way of finding them."""

from __future__ import annotations

import json
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from tests.rooms.mixture.strategies import regions

from coupage.errors import InputError
from coupage.mixture import Group, Region

VALUES = json.loads(
    (Path(__file__).parents[2] / "references" / "mixture_vertices" / "values.json").read_text()
)


def names(q):
    return [f"x{i + 1}" for i in range(q)]


# McLean & Anderson (1966); Snee & Marquardt (1974); Lawson (2015) ch. 11.
@pytest.mark.parametrize("entry", ["mclean-anderson-flare", "gasoline-5", "polvoron-xvert"])
def test_bounded_region_has_the_published_vertices(entry):
    inputs, expected = VALUES[entry]["inputs"], VALUES[entry]["expected"]
    found = Region(names(len(inputs["L"])), inputs["L"], inputs["U"]).vertices()
    np.testing.assert_allclose(found, sorted(expected["vertices"]), atol=1e-14, rtol=0)


def test_linear_limits_give_the_published_vertices():
    # Piepel (1988), three components with two linear limits.
    region = Region(
        names(3),
        [0.1, 0.1, 0],
        [0.5, 0.7, 0.7],
        [
            Group({"x1": 0.85, "x2": 0.90, "x3": 1}, 0.90, 0.95),
            Group({"x1": 0.70, "x3": 1}, lower=0.40),
        ],
    )
    expected = VALUES["piepel-convrt"]["expected"]
    np.testing.assert_allclose(region.vertices(), sorted(expected["vertices"]), atol=1e-9)
    np.testing.assert_allclose(
        region.vertices().mean(axis=0), expected["average_of_vertices"], atol=1e-9
    )


def crosier(lower, upper):
    """Count vertices by Crosier (1986), Technometrics 28:95-102 (formula from memory)."""
    q = len(lower)
    ranges = np.round(np.array(upper) - np.array(lower), 9)
    spare = round(min(1 - sum(lower), sum(upper) - 1), 9)
    count = q
    for r in range(1, q + 1):
        sums = [round(float(sum(s)), 9) for s in combinations(ranges, r)]
        count += sum(s < spare for s in sums) * (q - 2 * r)
        count += sum(s == spare for s in sums) * (1 - r)
    return count


@settings(max_examples=60, deadline=None)
@given(regions(groups=False, least=3))
def test_number_of_vertices_follows_crosier(drawn):
    region = drawn.region.implied()
    if (region.upper - region.lower > 1e-9).all():
        assert len(region.vertices()) == crosier(region.lower.tolist(), region.upper.tolist())


def brute_force(region):
    """Solve every choice of q - 1 tight limits; keep the feasible solutions."""
    q = region.q
    rows = [*np.eye(q), *np.eye(q)]
    ends = [*region.lower, *region.upper]
    for group in region.groups:
        row = np.array([group.coefficients.get(n, 0.0) for n in region.names])
        rows.append(row)
        ends.append(group.upper)
    found = set()
    for tight in combinations(range(len(rows)), q - 1):
        left = np.vstack([np.ones(q), [rows[k] for k in tight]])
        if np.linalg.matrix_rank(left, tol=1e-9) == q:
            x = np.linalg.solve(left, [1.0, *(ends[k] for k in tight)])
            if region.contains(x, tol=1e-9)[0]:
                found.add(tuple((np.round(x, 7) + 0.0).tolist()))
    return found


@settings(max_examples=60, deadline=None)
@given(regions(most=4))
def test_vertices_are_those_of_brute_force(drawn):
    found = {tuple((np.round(v, 7) + 0.0).tolist()) for v in drawn.region.vertices()}
    assert found == brute_force(drawn.region)


def test_vertices_are_exact_fractions_written_as_floats():
    # Exact thirds: 3 components of at most a third leave the one equal blend.
    assert Region("abc", upper=1 / 3).vertices().tolist() == [[1 / 3, 1 / 3, 1 / 3]]


def test_exclusive_sets_join_the_vertices_of_their_pieces():
    region = Region("abc", exclusive=["ab"])
    assert region.vertices().tolist() == [[0, 0, 1], [0, 1, 0], [1, 0, 0]]
    half = Region("abc", upper=0.5, exclusive=["ab"])
    assert half.vertices().tolist() == [[0, 0.5, 0.5], [0.5, 0, 0.5]]


def test_too_many_vertices_are_refused_with_a_way_out():
    with pytest.raises(InputError, match=r"more than 20000 of them.*grid\(step\) or sample"):
        Region(names(24), upper=0.2).vertices()
