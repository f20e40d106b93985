"""Guessing and its correction (Abbott)."""

from __future__ import annotations

import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

import coupage.difference
import coupage.table
from coupage.difference import (
    TESTS,
    TestName,
    correct_from_share,
    guess_chance,
    share_from_correct,
)
from coupage.errors import InputError


def test_guessing() -> None:
    """One of three, or one of two; two pairs out of four cups can be named in three ways."""
    assert [guess_chance(t) for t in TESTS] == [1 / 3, 0.5, 0.5, 1 / 3, 1 / 3]


@given(test=st.sampled_from(TESTS), pd=st.floats(0, 1))
def test_shares_go_there_and_back(test: TestName, pd: float) -> None:
    correct = correct_from_share(test, pd)
    assert guess_chance(test) <= correct <= 1
    assert share_from_correct(test, correct) == pytest.approx(pd, abs=1e-12)
    assert share_from_correct(test, guess_chance(test) * pd) == 0


def test_impossible_shares_are_refused() -> None:
    with pytest.raises(InputError, match="pd: 2"):
        correct_from_share("triangle", 2)
    with pytest.raises(InputError, match="use one of triangle, duo-trio, 2-AFC, 3-AFC, tetrad"):
        guess_chance(["triangle"])  # type: ignore[arg-type]


@pytest.mark.parametrize("room", [coupage.difference, coupage.table])
def test_every_public_name_is_exported(room: object) -> None:
    own = {
        name
        for name, value in vars(room).items()
        if getattr(value, "__module__", "").startswith(f"{room.__name__}.")  # type: ignore[attr-defined]
    }
    assert own <= set(room.__all__)  # type: ignore[attr-defined]
    assert sorted(room.__all__) == sorted(set(room.__all__))  # type: ignore[attr-defined]
    assert all(hasattr(room, name) for name in room.__all__)  # type: ignore[attr-defined]


def test_the_rooms_load_no_heavy_parts() -> None:
    """scipy.stats and scipy.optimize cost a second at start."""
    code = (
        "import sys, coupage.difference, coupage.table; "
        "heavy = ('scipy.stats', 'scipy.optimize', 'scipy.integrate'); "
        "print([m for m in heavy if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
