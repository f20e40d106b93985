from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coupage.errors import InputError
from coupage.recipe import round_shares

EXAMPLES = json.loads(
    (Path(__file__).parents[2] / "references/largest_remainder/examples.json").read_text("utf-8")
)


@pytest.mark.parametrize("example", EXAMPLES, ids=[e["id"] for e in EXAMPLES])
def test_published_apportionments(example: dict[str, list[int]]) -> None:
    """Balinski & Young (1975) and others; see tests/references/largest_remainder."""
    weights, total = np.array(example["weights"], dtype=float), int(example["total"])  # type: ignore[call-overload]
    parts = round_shares(weights / weights.sum(), 1 / total) * total
    assert parts.round(9).tolist() == example["parts"]


@settings(deadline=None, max_examples=80)
@given(st.lists(st.integers(0, 1000), min_size=1, max_size=8), st.sampled_from([1, 4, 20, 50, 100]))
def test_rounding_keeps_the_sum_and_the_quota(weights: list[int], parts: int) -> None:
    if not sum(weights):
        return
    x = np.array(weights) / sum(weights)
    rounded = round_shares(x, 1 / parts)
    assert rounded.sum() == pytest.approx(1, abs=1e-12)
    assert np.all(np.abs(rounded - x) < 1 / parts + 1e-9)
    assert np.all(rounded >= 0)
    assert np.allclose(rounded * parts, np.round(rounded * parts), atol=1e-9)
    assert round_shares(rounded, 1 / parts) == pytest.approx(rounded, abs=1e-12)


def test_what_is_on_the_step_stays() -> None:
    assert round_shares([0.29, 0.57, 0.14], 0.01).tolist() == [0.29, 0.57, 0.14]


@pytest.mark.parametrize(
    ("x", "step", "words"),
    [
        ([0.5, 0.4], 0.05, "sum to 0.9"),
        ([1.5, -0.5], 0.05, "not negative"),
        ([0.5, 0.5], 0.3, "does not divide 1"),
        ([0.5, 0.5], 0, "does not divide 1"),
        ([[0.5, 0.5]], 0.05, "one recipe"),
    ],
)
def test_bad_shares_are_refused(x: list[float], step: float, words: str) -> None:
    with pytest.raises(InputError, match=words):
        round_shares(x, step)
