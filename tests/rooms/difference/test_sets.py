"""Sets of cups: ISO 4120, 7.1, as in tests/references/discrimination_tables."""

from __future__ import annotations

import json
from collections import Counter
from itertools import permutations
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coupage.difference import TESTS, CupSet, TestName, cup_sets, guess_chance, set_orders
from coupage.errors import InputError

CASE = json.loads(
    (Path(__file__).parents[2] / "references/discrimination_tables/tables.json").read_text("utf-8")
)["triangle_orders"]


def test_twelve_assessors_of_the_standard() -> None:
    session = cup_sets("triangle", CASE["inputs"]["assessors"], rng=np.random.default_rng(1))
    orders = [hand[0].order for hand in session]
    assert sorted(set(orders)) == sorted(CASE["inputs"]["orders"])
    cups = Counter("".join(orders))
    assert cups["A"] == CASE["expected"]["A"]
    assert cups["B"] == CASE["expected"]["B"]
    odd = Counter(order for order in orders if order.count("A") == 1)
    assert odd["ABB"] == CASE["expected"]["odd_first"]
    assert odd["BAB"] == CASE["expected"]["odd_mid"]
    assert odd["BBA"] == CASE["expected"]["odd_last"]


@pytest.mark.parametrize("test", TESTS)
def test_every_arrangement_is_there_once(test: TestName) -> None:
    ours = {(s.reference, s.order) for s in set_orders(test)}
    both = ("A", "B")
    every = {
        "triangle": {("", "".join(p)) for cups in ("AAB", "ABB") for p in permutations(cups)},
        "duo-trio": {(r, "".join(p)) for r in both for p in permutations("AB")},
        "2-AFC": {("", "AB"), ("", "BA")},
        "3-AFC": {("", "".join(p)) for p in permutations("ABB")},
        "tetrad": {("", "".join(p)) for p in permutations("AABB")},
    }[test]
    assert ours == every
    assert len(ours) == len(set_orders(test))


@given(
    test=st.sampled_from(TESTS),
    tasters=st.integers(1, 31),
    repeats=st.integers(1, 8),
    seed=st.integers(0, 2**32 - 1),
)
@settings(max_examples=80, deadline=None)
def test_sessions_are_level(test: TestName, tasters: int, repeats: int, seed: int) -> None:
    session = cup_sets(test, tasters, repeats, rng=np.random.default_rng(seed))
    every = set_orders(test)
    assert len(session) == tasters
    assert {len(hand) for hand in session} == {repeats}
    counts = Counter(s for hand in session for s in hand)
    assert set(counts) <= set(every)
    numbers = [counts[s] for s in every]
    assert max(numbers) - min(numbers) <= 1
    for hand in session:  # a taster's own sets differ while there are arrangements left
        own = Counter(hand)
        assert max(own.values()) <= -(-repeats // len(every))
    if test in {"triangle", "tetrad", "2-AFC"} and (tasters * repeats) % 2 == 0:
        cups = Counter(cup for hand in session for s in hand for cup in s.order)
        assert cups["A"] == cups["B"]


@pytest.mark.parametrize("test", TESTS)
def test_random_pointing_is_right_as_often_as_guessing(test: TestName) -> None:
    """Every choice a taster can make, over every arrangement: exactly the guessing chance."""
    size = 2 if test == "tetrad" else 1
    right = total = 0
    for cups in set_orders(test):
        for places in permutations(range(len(cups.order)), size):
            total += 1
            right += cups.is_right(set(places))
    assert right / total == pytest.approx(guess_chance(test))


def test_right_answers_by_hand() -> None:
    assert CupSet("triangle", "BAB").is_right({1})
    assert not CupSet("triangle", "BAB").is_right({0, 2})
    assert CupSet("triangle", "BAA").is_right({0})
    assert CupSet("duo-trio", "BA", "B").is_right({0})
    assert CupSet("2-AFC", "BA").is_right({1})
    assert not CupSet("2-AFC", "BA").is_right({0})
    assert CupSet("3-AFC", "BBA").is_right({2})
    assert CupSet("tetrad", "ABBA").is_right({0, 3})
    assert CupSet("tetrad", "ABBA").is_right({1, 2})
    assert not CupSet("tetrad", "ABBA").is_right({0, 1})


def test_dealing_is_random() -> None:
    firsts = Counter(
        cup_sets("triangle", 6, rng=np.random.default_rng(seed))[0][0].order for seed in range(600)
    )
    # Chi-square with 5 df below its 99.9 % point, 20.52 (NIST/SEMATECH e-Handbook 1.3.6.7.4).
    assert sum((count - 100) ** 2 / 100 for count in firsts.values()) < 20.52
    assert len(firsts) == 6


def test_empty_sessions_are_refused() -> None:
    with pytest.raises(InputError, match="at least 1"):
        cup_sets("triangle", 0)
    with pytest.raises(InputError, match="at least 1"):
        cup_sets("triangle", 5, 0)
    with pytest.raises(InputError, match="use one of"):
        set_orders("pentad")  # type: ignore[arg-type]
