"""Blind codes. The rules are common practice; ISO 6658 asks for random three-digit numbers."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coupage.errors import InputError
from coupage.table import blind_codes


def differing(a: str, b: str) -> int:
    return sum(x != y for x, y in zip(a, b, strict=True))


@given(n=st.integers(0, 585), seed=st.integers(0, 2**32 - 1))
@settings(max_examples=40, deadline=None)
def test_every_code_stands_well_alone(n: int, seed: int) -> None:
    codes = blind_codes(n, rng=np.random.default_rng(seed))
    assert len(set(codes)) == len(codes) == n
    for code in codes:
        assert len(code) == 3
        assert 100 <= int(code) <= 999
        assert len(set(code)) == 3
        assert code not in "0123456789"
        assert code not in "9876543210"
        assert not set(code) <= set("01689")  # such a label reads as a code upside down


@given(n=st.integers(2, 50), seed=st.integers(0, 2**32 - 1))
@settings(max_examples=60, deadline=None)
def test_up_to_fifty_codes_survive_one_slip(n: int, seed: int) -> None:
    codes = blind_codes(n, rng=np.random.default_rng(seed))
    assert len(codes) == n
    for a, b in combinations(codes, 2):
        assert differing(a, b) >= 2
        assert sorted(a) != sorted(b)
    if n <= 9:
        assert len({code[0] for code in codes}) == n


def test_codes_are_random_and_repeatable() -> None:
    draws = [tuple(blind_codes(6, rng=np.random.default_rng(seed))) for seed in range(50)]
    assert len(set(draws)) == 50
    assert draws[3] == tuple(blind_codes(6, rng=np.random.default_rng(3)))
    assert blind_codes(6) != blind_codes(6)
    # No first digit is favoured: 300 first digits over 1..9, chi-square with 8 df below its
    # 99.9 % point, 26.12 (NIST/SEMATECH e-Handbook 1.3.6.7.4).
    counts = np.bincount([int(d[0][0]) for d in draws] + [int(d[1][0]) for d in draws])[1:]
    assert ((counts - 100 / 9) ** 2 / (100 / 9)).sum() < 26.12


def test_codes_of_the_last_table_are_avoided() -> None:
    rng = np.random.default_rng(5)
    first = blind_codes(500, rng=rng)
    second = blind_codes(85, rng=rng, avoid=first)
    assert not set(first) & set(second)
    with pytest.raises(InputError, match="from 0 to 85"):
        blind_codes(86, rng=rng, avoid=first)


@pytest.mark.parametrize("n", [-1, 586])
def test_too_many_codes_are_refused(n: int) -> None:
    with pytest.raises(InputError, match="from 0 to 585"):
        blind_codes(n)
