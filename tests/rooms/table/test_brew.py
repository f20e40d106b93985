"""Brewing sums: tests/references/brewing_sums."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coupage import table
from coupage.errors import InputError

EXAMPLES = {
    example["what"]: example
    for example in json.loads(
        (Path(__file__).parents[2] / "references/brewing_sums/examples.json").read_text("utf-8")
    )
}


def test_the_cupping_ratio() -> None:
    e = EXAMPLES["cupping dose"]
    assert pytest.approx(e["per_ml"]) == table.CUPPING_GRAMS_PER_ML
    assert table.water_ml(e["dose"]) == pytest.approx(e["water"])
    assert table.dose_grams(e["water"]) == pytest.approx(e["dose"])
    assert table.water_ml(12, grams_per_ml=0.06) == pytest.approx(200)


def test_the_yields() -> None:
    e = EXAMPLES["percolation"]
    assert table.extraction_percolation(e["tds"], 17 * e["ratio"], 17) == pytest.approx(
        e["expected"], abs=5e-4
    )
    e = EXAMPLES["immersion"]
    assert table.extraction_immersion(e["tds"], e["water"], e["dose"]) == pytest.approx(
        e["expected"], abs=5e-4
    )


def test_the_milk() -> None:
    e = EXAMPLES["milk strength"]
    assert table.milk_strength(e["tds"], e["espresso"], e["milk"]) == pytest.approx(
        e["expected"], abs=5e-4
    )
    e = EXAMPLES["milk dilution"]
    assert table.milk_dilution(e["espresso"], e["milk"]) == pytest.approx(e["expected"])
    assert table.milk_strength(0.1, 36, 0) == pytest.approx(0.1)


@given(tds=st.floats(0, 0.2), espresso=st.floats(1, 100), milk=st.floats(0, 500))
def test_milk_moves_no_solids(tds: float, espresso: float, milk: float) -> None:
    solids = table.milk_strength(tds, espresso, milk) * (espresso + milk)
    assert solids == pytest.approx(tds * espresso, abs=1e-12)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: table.water_ml(0), "dose_grams: 0"),
        (lambda: table.dose_grams(-1), "water_ml: -1"),
        (lambda: table.extraction_percolation(9.5, 36, 18), "1.25 % is 0.0125"),
        (lambda: table.extraction_immersion(0.012, float("nan"), 8), "water_grams: nan"),
        (lambda: table.milk_strength(0.09, 36, -1), "milk_grams: -1"),
        (lambda: table.milk_dilution(0, 10), "espresso_grams: 0"),
    ],
)
def test_impossible_brews_are_refused(call: Callable[[], float], says: str) -> None:
    with pytest.raises(InputError, match=says):
        call()
