"""Serving orders: tests/references/williams_1949."""

from __future__ import annotations

import json
from itertools import pairwise
from math import lcm
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coupage.errors import InputError
from coupage.table import order_balance, serving_orders, williams

REFERENCE = json.loads(
    (Path(__file__).parents[2] / "references/williams_1949/designs.json").read_text("utf-8")
)


def count(orders: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Positions and neighbour pairs, counted with plain loops."""
    n = orders.shape[1]
    places, pairs = np.zeros((n, n), int), np.zeros((n, n), int)
    for row in orders.tolist():
        assert sorted(row) == list(range(n))
        for place, sample in enumerate(row):
            places[sample, place] += 1
        for before, after in pairwise(row):
            pairs[before, after] += 1
    return places, pairs


@pytest.mark.parametrize("n", range(3, 13))
def test_every_ordered_pair_of_neighbours_is_level(n: int) -> None:
    square = williams(n)
    times = 1 if n % 2 == 0 else 2
    places, pairs = count(square)
    assert len(square) == times * n
    assert (places == times).all()
    assert (pairs == times * (1 - np.eye(n, dtype=int))).all()


@pytest.mark.parametrize("n", sorted(REFERENCE["balance"], key=int))
def test_counts_are_those_of_the_reference_designs(n: str) -> None:
    expected = REFERENCE["balance"][n]
    square = williams(int(n))
    balance = order_balance(square)
    off = balance.after[~np.eye(int(n), dtype=bool)]
    assert len(square) == expected["rows"]
    assert np.unique(balance.at_position).tolist() == expected["position_counts"]
    assert np.unique(off).tolist() == expected["carryover_counts"]
    assert np.diag(balance.after).sum() == expected["self_pairs"]


def test_squares_equal_the_published_ones() -> None:
    assert (williams(4) + 1).tolist() == REFERENCE["four"]
    assert (williams(6) + 1).tolist() == REFERENCE["six"]


@given(samples=st.integers(1, 9), tasters=st.integers(1, 31), seed=st.integers(0, 2**32 - 1))
@settings(max_examples=60, deadline=None)
def test_counts_stay_close_for_any_table(samples: int, tasters: int, seed: int) -> None:
    orders = serving_orders(samples, tasters, rng=np.random.default_rng(seed))
    assert orders.shape == (tasters, samples)
    places, pairs = count(orders)
    off = pairs[~np.eye(samples, dtype=bool)]
    balance = order_balance(orders)
    assert (balance.at_position == places).all()
    assert (balance.after == pairs).all()
    spread = np.ptp(places), np.ptp(off) if off.size else 0
    assert max(spread) <= (1 if samples % 2 == 0 else 2)
    full = samples if samples % 2 == 0 else 2 * samples
    if samples > 1:
        assert balance.complete == (tasters % full == 0)


@pytest.mark.parametrize(("samples", "tasters"), [(5, 3), (7, 3), (7, 4), (9, 5), (11, 6)])
def test_few_tasters_of_an_odd_table_come_within_one(samples: int, tasters: int) -> None:
    """Rows of the square alone leave counts of 0 and 2 there; trading places mends it."""
    orders = serving_orders(samples, tasters, rng=np.random.default_rng(1))
    places, pairs = count(orders)
    assert np.ptp(places) <= 1
    assert np.ptp(pairs[~np.eye(samples, dtype=bool)]) <= 1


def test_average_place_is_level_where_counts_allow() -> None:
    orders = serving_orders(6, 4, rng=np.random.default_rng(2))
    places, _ = count(orders)
    assert np.ptp((places * np.arange(6)).sum(axis=1)) == 0


def test_any_subset_beats_chance() -> None:
    """Twenty random tables of 9 samples and 7 tasters are all less even than ours."""
    rng = np.random.default_rng(3)

    def unevenness(orders: np.ndarray) -> float:
        places, pairs = count(orders)
        return float((places**2).sum() + (pairs**2).sum())

    ours = unevenness(serving_orders(9, 7, rng=rng))
    chance = [unevenness(np.array([rng.permutation(9) for _ in range(7)])) for _ in range(20)]
    assert ours < min(chance)


def test_large_leftovers_are_chosen_by_exchange() -> None:
    """13 samples, 12 tasters: 9.7 million subsets; ours is more even than 200 drawn blindly."""
    rng = np.random.default_rng(6)

    def unevenness(orders: np.ndarray) -> int:
        places, pairs = count(orders)
        return int((places**2).sum() + (pairs**2).sum())

    ours = unevenness(serving_orders(13, 12, rng=rng))
    blind = [unevenness(williams(13)[rng.permutation(26)[:12]]) for _ in range(200)]
    assert ours < min(blind)


def test_orders_are_random_and_repeatable() -> None:
    draws = {serving_orders(4, 4, rng=np.random.default_rng(s)).tobytes() for s in range(40)}
    assert len(draws) > 30
    again = serving_orders(7, 5, rng=np.random.default_rng(9))
    assert (again == serving_orders(7, 5, rng=np.random.default_rng(9))).all()
    # Dealt at random: over many tables the first taster starts with each sample alike. Chi-square
    # with 3 df below its 99.9 % point, 16.27 (NIST/SEMATECH e-Handbook 1.3.6.7.4).
    firsts = [serving_orders(4, 4, rng=np.random.default_rng(s))[0, 0] for s in range(400)]
    assert ((np.bincount(firsts, minlength=4) - 100) ** 2 / 100).sum() < 16.27


def test_a_large_table_is_quick_and_level() -> None:
    orders = serving_orders(24, lcm(24, 4) * 2 + 5, rng=np.random.default_rng(4))
    places, pairs = count(orders)
    assert np.ptp(places) <= 1
    assert np.ptp(pairs[~np.eye(24, dtype=bool)]) <= 1


def test_empty_tables_and_broken_orders_are_refused() -> None:
    with pytest.raises(InputError, match="samples: 0"):
        serving_orders(0, 3)
    with pytest.raises(InputError, match="tasters: 0"):
        serving_orders(3, 0)
    with pytest.raises(InputError, match="exactly once"):
        order_balance(np.array([[0, 0, 2]]))
