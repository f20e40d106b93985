"""Check digits, element strings, links and lot codes against published examples."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coupage.errors import InputError
from coupage.web.production.gs1 import (
    LOT_CHARACTERS,
    check_digit,
    checked_gtin,
    digital_link,
    element_string,
    read_scanned,
)
from coupage.web.production.lot_code import DEFAULT_PATTERN, check_pattern, lot_code

REFERENCES = Path(__file__).parents[2] / "references" / "gs1"
DIGITS = json.loads((REFERENCES / "check_digits.json").read_text())
STRINGS = json.loads((REFERENCES / "element_strings.json").read_text())
LOTS = st.text(st.sampled_from(sorted(LOT_CHARACTERS - {"(", ")"})), min_size=1, max_size=20)
GTINS = st.from_regex(r"\A[0-9]{13}\Z").map(lambda d: d + check_digit(d))


@pytest.mark.parametrize(
    "number", [n for key in DIGITS if not key.endswith("wrong") for n in DIGITS[key]]
)
def test_check_digits_are_the_published_ones(number: str) -> None:
    assert check_digit(number[:-1]) == number[-1]
    if len(number) in {8, 12, 13, 14}:
        assert checked_gtin(number) == number.zfill(14)


@pytest.mark.parametrize("number", DIGITS["package_gs1_wrong"])
def test_a_wrong_check_digit_is_refused(number: str) -> None:
    with pytest.raises(InputError, match="the last digit would be"):
        checked_gtin(number)


@settings(max_examples=50, deadline=None)
@given(GTINS, st.integers(0, 12))
def test_two_neighbours_in_the_wrong_order_are_found_out(gtin: str, place: int) -> None:
    """Weights 3 and 1 find every swap but of digits that differ by five."""
    a, b = gtin[place], gtin[place + 1]
    swapped = gtin[:place] + b + a + gtin[place + 2 :]
    if (int(a) - int(b)) % 5:
        with pytest.raises(InputError):
            checked_gtin(swapped)
    else:
        assert checked_gtin(swapped) == swapped


@pytest.mark.parametrize("scanned", STRINGS["scanned"])
def test_a_scanned_string_is_read_as_published(scanned: dict[str, str]) -> None:
    found = read_scanned(scanned["text"])
    assert (found.gtin, found.lot) == (scanned["gtin"], scanned["lot"])


@settings(max_examples=50, deadline=None)
@given(GTINS, LOTS)
def test_what_is_printed_is_read_again(gtin: str, lot: str) -> None:
    day = dt.date(2027, 3, 14)
    printed = element_string(lot=lot, gtin=gtin, best_before=day, packed_on=day)
    assert read_scanned(printed).lot == lot
    raw = f"01{gtin}13270314152703{14}10{lot}"
    assert read_scanned(raw).lot == lot
    assert read_scanned(f"]Q3{raw}").gtin == gtin
    link = digital_link("https://coffee.example/x/", gtin=gtin, lot=lot, best_before=day)
    assert (read_scanned(link).lot, read_scanned(link).gtin) == (lot, gtin)


def test_without_a_gtin_there_is_no_element_string() -> None:
    assert element_string(lot="140326-1") == ""
    assert read_scanned("140326-1").text == "140326-1"
    assert read_scanned("https://elsewhere.example/01").lot == ""


@pytest.mark.parametrize("lot", ["", "x" * 21, "14 03", "14ä", "14#"])
def test_a_lot_that_no_symbol_carries_is_refused(lot: str) -> None:
    with pytest.raises(InputError, match="lot code"):
        element_string(lot=lot, gtin="6291041500213")


@pytest.mark.parametrize(
    ("pattern", "says"),
    [
        ("{month}{day}{yy}-{run}", "before"),
        ("{day}{month}{yy}", "{run}"),
        ("{day}{month}-{run}", "{yy}"),
        ("{day}{month}{yy}-{run}{week}", "{week}"),
        ("{day}{month}{yy} {run}", "holds"),
        ("{day}{month}{year}-{blend}-{run}-a-long-tail", "20"),
        ("{day{month}{yy}-{run}", "not known"),
    ],
)
def test_a_pattern_that_could_mislead_is_refused(pattern: str, says: str) -> None:
    with pytest.raises(InputError, match=says.replace("{", r"\{").replace("}", r"\}")):
        check_pattern(pattern)


@settings(max_examples=50, deadline=None)
@given(
    st.dates(dt.date(2020, 1, 1), dt.date(2099, 12, 31)),
    st.dates(dt.date(2020, 1, 1), dt.date(2099, 12, 31)),
    st.integers(1, 99),
    st.integers(1, 99),
)
def test_no_two_runs_of_a_century_get_one_code(a: dt.date, b: dt.date, m: int, n: int) -> None:
    check_pattern(DEFAULT_PATTERN)
    first = lot_code(DEFAULT_PATTERN, on=a, run=m, blend="Ropewalk")
    second = lot_code(DEFAULT_PATTERN, on=b, run=n, blend="Slack Tide")
    assert (first == second) == ((a, m) == (b, n))
