"""Masses, shares and numbers against NIST Handbook 44 and the SI."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coupage.errors import InputError
from coupage.units import (
    GRAMS_PER_OZ,
    PPM,
    grams,
    parse_number,
    show_mass,
    show_share,
    whole_shares,
)


def test_pound_and_ounce_are_those_of_handbook_44() -> None:
    """NIST Handbook 44 (2024), Appendix C: 1 lb = 453.592 37 g exactly, 1 oz = 28.349 523 125 g."""
    assert grams(100, "lb") == 45_359
    assert Decimal("28.349523125") == GRAMS_PER_OZ


@pytest.mark.parametrize(
    ("typed", "means"),
    [
        ("14.2", "14.2"),
        ("14,2", "14.2"),
        (" 1 250 ", "1250"),
        ("1 250,5", "1250.5"),  # a thin no-break space, as French spreadsheets write it
        ("1.250,5", "1250.5"),
        ("1,250.5", "1250.5"),
        ("1'250.50", "1250.50"),
        ("−3", "-3"),
        ("1,250,000", "1250000"),
    ],
)
def test_numbers_are_read_as_people_type_them(typed: str, means: str) -> None:
    assert parse_number(typed) == Decimal(means)


@pytest.mark.parametrize("typed", ["", "twelve", "12 kg", "1.2.3", "NaN", "Infinity", "--1", "1e"])
def test_what_is_no_number_is_refused_with_what_was_typed(typed: str) -> None:
    with pytest.raises(InputError, match="charge") as refusal:
        parse_number(typed, "charge")
    assert repr(typed) in str(refusal.value)


@pytest.mark.parametrize("typed", ["1e999999999", "-1E+31", "1e-999999999", "1" + "0" * 30])
def test_a_number_out_of_all_measure_is_refused(typed: str) -> None:
    with pytest.raises(InputError, match="out of all measure"):
        parse_number(typed)


def test_a_number_of_a_million_digits_is_refused_unread() -> None:
    with pytest.raises(InputError, match="too long") as refusal:
        parse_number("9" * 1_000_000, "charge")
    assert len(str(refusal.value)) < 200


@pytest.mark.parametrize("typed", ["0", "-0", "0e999999999", "0,000"])
def test_nothing_is_plainly_nothing(typed: str) -> None:
    assert str(parse_number(typed)) == "0"


def test_an_unknown_unit_is_refused() -> None:
    with pytest.raises(InputError, match="stone"):
        grams(1, "stone")  # type: ignore[arg-type]


@given(st.integers(0, 10**9))
def test_showing_and_reading_a_mass_in_kilograms_loses_nothing(mass_g: int) -> None:
    shown = show_mass(mass_g, "kg", places=3)
    assert grams(shown.removesuffix(" kg"), "kg") == mass_g


@given(st.integers(0, PPM))
def test_a_share_is_shown_to_a_hundredth_of_a_per_cent(share: int) -> None:
    number = Decimal(show_share(share).removesuffix(" %"))
    assert abs(number * 10_000 - share) <= 50


@settings(max_examples=200)
@given(st.lists(st.floats(0.001, 1), min_size=1, max_size=12))
def test_whole_shares_add_up_and_stay_within_one_part(weights: list[float]) -> None:
    shares = [w / sum(weights) for w in weights]
    parts = whole_shares(shares)
    assert sum(parts) == PPM
    assert all(abs(p - s * PPM) < 1 for p, s in zip(parts, shares, strict=True))


@pytest.mark.parametrize("shares", [[0.5, 0.49], [1.2, -0.2], [0.6, 0.6]])
def test_shares_that_are_no_shares_are_refused(shares: list[float]) -> None:
    with pytest.raises(InputError, match="sum to 1"):
        whole_shares(shares)
