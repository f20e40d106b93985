from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr

from coupage.recipe.majorants import (
    FAMILIES,
    FARTHEST,
    NODES_PER_UNIT,
    majorant_table,
    shortfall,
)


def rows() -> np.ndarray:
    from importlib import resources

    text = resources.files("coupage.recipe").joinpath("majorants.csv").read_text("utf-8")
    return np.array([line.split(",") for line in text.splitlines()[1:]], dtype=float)


ROWS = rows()


def test_every_family_has_every_node() -> None:
    nodes = np.arange(2 * FARTHEST * NODES_PER_UNIT + 1) / NODES_PER_UNIT - FARTHEST
    for number in range(len(FAMILIES)):
        assert ROWS[ROWS[:, 0] == number, 1].tolist() == nodes.tolist()
    assert majorant_table().constant.shape == (len(FAMILIES), len(nodes) + 1)
    # The last family must hold for any spread of the variances, and for a larger unit.
    last = ROWS[ROWS[:, 0] == len(FAMILIES) - 1]
    assert np.all(last[:, 6] == 0)
    assert np.all(last[:, 4] >= 0)


@pytest.mark.parametrize("row", [*range(0, len(ROWS), 23), len(ROWS) - 1])
def test_tabulated_quadratics_are_proven_majorants(row: int) -> None:
    """Cell by cell: largest g against least Q. Written digits, not the ones before rounding."""
    z, q = ROWS[row, 1], ROWS[row, 2:]
    if not np.array_equal(q, [1, 0, 0, 0, 0]):
        assert shortfall(z, q) <= 0


def test_the_proof_sees_a_quadratic_that_is_too_low() -> None:
    q = ROWS[(ROWS[:, 0] == 1) & (ROWS[:, 1] == 1.0)][0, 2:].copy()
    q[0] -= 0.002
    assert shortfall(1.0, q) > 0


@settings(deadline=None, max_examples=300)
@given(
    st.integers(0, len(ROWS) - 1),
    st.floats(-20, 20),
    st.one_of(st.floats(-1, 3), st.floats(3, 300)),
)
def test_no_point_lies_above_its_majorant(row: int, u: float, h: float) -> None:
    _, z, c, cu, ch, a, cc = ROWS[row]
    variance = 1 + h
    g = ndtr((z + u) / math.sqrt(variance)) if variance > 0 else float(z + u >= 0)
    assert c + cu * u + ch * h + a * u * u + cc * h * h >= g - 1e-12


@settings(deadline=None, max_examples=150)
@given(st.data())
def test_the_bound_holds_for_any_mixture_and_is_close_when_parts_agree(data: st.DataObject) -> None:
    k = data.draw(st.integers(1, 6))
    weights = np.array(data.draw(st.lists(st.floats(0.01, 1), min_size=k, max_size=k)))
    weights /= weights.sum()
    means = np.array(data.draw(st.lists(st.floats(-3, 3), min_size=k, max_size=k)))
    sds = np.array(data.draw(st.lists(st.floats(0.01, 3), min_size=k, max_size=k)))
    exact = float(weights @ ndtr(means / sds))
    m, v = weights @ means, weights @ sds**2
    b = weights @ (means - m) ** 2 / v
    kappa = weights @ sds**4 / v**2 - 1
    z = m / math.sqrt(v)
    table = majorant_table()
    node = int(np.clip(math.ceil((z + FARTHEST) * NODES_PER_UNIT), 0, table.nodes - 1))
    bounds = table.constant[:, node] + table.u_squared[:, node] * b
    bounds[:-1] += table.h_squared[:-1, node] * kappa
    assert np.all(np.minimum(bounds, 1) >= exact - 1e-9)
    if k == 1:
        assert bounds[0] - exact < 0.03
