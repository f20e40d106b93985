"""An order for a latecomer evens the table out."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest

from coupage.errors import InputError
from coupage.table import late_order, order_balance, serving_orders, williams


def unevenness(orders: np.ndarray) -> int:
    balance = order_balance(orders)
    return int((balance.at_position**2).sum() + (balance.after**2).sum())


@pytest.mark.parametrize("n", [4, 6])
def test_a_square_without_one_order_is_completed(n: int) -> None:
    """Williams 1949: the whole square is balanced, so the missing row is the one best order."""
    square = williams(n)
    for gap in range(n):
        given = np.delete(square, gap, axis=0)
        late = late_order(given, rng=np.random.default_rng(gap))
        assert order_balance(np.vstack([given, late])).complete


def test_no_other_order_of_few_samples_is_more_even() -> None:
    rng = np.random.default_rng(5)
    given = serving_orders(5, 7, rng)
    late = late_order(given, rng=rng)
    reached = unevenness(np.vstack([given, late]))
    assert reached == min(unevenness(np.vstack([given, order])) for order in permutations(range(5)))


def test_a_row_of_latecomers_is_more_even_than_chance() -> None:
    rng = np.random.default_rng(8)
    given = np.empty((0, 9), dtype=np.int64)
    for _ in range(12):
        given = np.vstack([given, late_order(given, rng=rng)])
    by_chance = [unevenness(np.array([rng.permutation(9) for _ in range(12)])) for _ in range(200)]
    assert unevenness(given) < min(by_chance)


def test_orders_that_are_none_are_refused() -> None:
    with pytest.raises(InputError, match="every sample"):
        late_order(np.array([[0, 0, 1]]))
    with pytest.raises(InputError, match="one row per taster"):
        late_order(np.array([0, 1, 2]))
