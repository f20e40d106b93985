"""What is written reads back the same, is safe to open, and other programs read it too."""

from __future__ import annotations

import csv
import datetime as dt
import io
from decimal import Decimal

import openpyxl
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coupage.errors import InputError
from coupage.sheets import Column, Layout, iter_csv, read_table, write_csv, write_xlsx

LAYOUT = Layout(
    "every kind",
    (
        Column("name", "text"),
        Column("note", "text", required=False, default=""),
        Column("mass", "number", required=False),
        Column("bags", "integer", required=False),
        Column("day", "date", required=False),
        Column("at", "datetime", required=False),
        Column("ok", "yes-no", required=False),
        Column("share", "share", required=False),
        Column("process", "choice", required=False, choices=("washed", "natural")),
    ),
)
WRITERS = [write_csv, write_xlsx]
# OWASP "CSV Injection" (from memory): first characters that programs take for a formula.
DANGEROUS = [
    "=1+1",
    "+1",
    "-1",
    "@SUM(A1)",
    "\t=1",
    "\r=1",
    "\n=1",
    "＝1",
    '=HYPERLINK("x")',
    "|calc",
]

texts = st.text(
    st.characters(exclude_categories=["Cs"], exclude_characters="\0\ufffe\uffff"), max_size=30
)
awkward = st.sampled_from(
    [*DANGEROUS, "'", "''=1", "'=1", " lead", "trail ", "_x0041_", "007", "1,5", "a\r\nb", '"q"']
)
decimals = st.decimals(-(10**9), 10**9, allow_nan=False, places=6)
rows_of_every_kind = st.lists(
    st.fixed_dictionaries(
        {
            "name": (texts | awkward).filter(lambda text: text != ""),
            "note": texts | awkward,
            "mass": st.none() | decimals,
            "bags": st.none() | st.integers(-(10**17), 10**17),
            "day": st.none() | st.dates(),
            "at": st.none() | st.datetimes() | st.datetimes(timezones=st.just(dt.UTC)),
            "ok": st.none() | st.booleans(),
            "share": st.none() | st.decimals(0, 1, places=8),
            "process": st.none() | st.sampled_from(["washed", "natural"]),
        }
    ),
    min_size=1,
    max_size=6,
)


@pytest.mark.parametrize("write", WRITERS)
@settings(deadline=None, max_examples=60)
@given(rows=rows_of_every_kind)
def test_whatever_is_written_reads_back_the_same(write, rows):
    assert read_table(write(LAYOUT, rows), "t", LAYOUT).rows == rows


@pytest.mark.parametrize("text", DANGEROUS)
def test_no_written_cell_can_run_as_a_formula(text):
    rows = [{"name": text}]
    (cells,) = list(
        csv.reader(io.StringIO(write_csv(LAYOUT, rows).decode("utf-8-sig"), newline=""))
    )[1:]
    assert cells[0] == f"'{text}"
    cell = openpyxl.load_workbook(io.BytesIO(write_xlsx(LAYOUT, rows))).active["A2"]
    assert cell.data_type == "s"
    assert cell.value.startswith("'")


def test_a_heading_cannot_run_as_a_formula_either():
    layout = Layout("w", (Column("=cmd", "number"),))
    assert write_csv(layout, []).decode("utf-8-sig").startswith("'=cmd")
    assert read_table(write_csv(layout, [{"=cmd": 2}]), "t", layout).rows == [{"=cmd": 2}]


def test_negative_numbers_stay_numbers():
    rows = [{"name": "a", "mass": Decimal("-1.5")}]
    assert b"-1.5" in write_csv(LAYOUT, rows)
    assert b"'-" not in write_csv(LAYOUT, rows)


@pytest.mark.parametrize("write", WRITERS)
def test_another_library_reads_the_same_values(write):
    rows = [
        {"name": "Sidama 4", "mass": Decimal("61.25"), "bags": 3, "day": dt.date(2026, 3, 5),
             "share": Decimal("0.35")},
        {"name": "é, \"x\"\nü", "mass": Decimal("-0.5"), "bags": 12, "day": dt.date(2025, 12, 31),
             "share": Decimal(1)},
    ]  # fmt: skip
    data = io.BytesIO(write(LAYOUT, rows))
    frame = pd.read_csv(data, parse_dates=["day"]) if write is write_csv else pd.read_excel(data)
    assert frame["name"].tolist() == [row["name"] for row in rows]
    assert frame["mass"].tolist() == [61.25, -0.5]
    assert frame["bags"].tolist() == [3, 12]
    assert [stamp.date() for stamp in frame["day"]] == [row["day"] for row in rows]
    assert frame["share"].tolist() == (["35%", "100%"] if write is write_csv else [0.35, 1.0])


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize(("sep", "decimal"), [(",", "."), (";", ","), ("\t", ",")])
def test_what_another_library_writes_is_read(encoding, sep, decimal):
    frame = pd.DataFrame(
        {"name": ["Añejo", "b"], "mass": [1234.5, 0.25], "bags": [1, 2], "share": [0.4, 0.6]}
    )
    out = frame.to_csv(index=False, sep=sep, decimal=decimal).encode(encoding)
    rows = read_table(out, "t.csv", LAYOUT).rows
    assert [row["name"] for row in rows] == ["Añejo", "b"]
    assert [float(row["mass"]) for row in rows] == [1234.5, 0.25]
    assert [float(row["share"]) for row in rows] == [0.4, 0.6]


def test_a_long_table_is_written_in_pieces():
    rows = ({"name": f"lot {i}"} for i in range(1_300))
    pieces = list(iter_csv(LAYOUT, rows))
    assert len(pieces) > 2
    assert read_table(b"".join(pieces), "t", LAYOUT).rows[-1]["name"] == "lot 1299"


@pytest.mark.parametrize(
    "row",
    [
        {"name": "a\0b"},
        {"name": "a", "mass": float("nan")},
        {"name": "a", "mass": Decimal("Infinity")},
    ],
)
@pytest.mark.parametrize("write", WRITERS)
def test_what_no_reader_would_accept_is_not_written(write, row):
    with pytest.raises(InputError):
        write(LAYOUT, [row])


def test_half_a_character_pair_is_refused_in_csv():
    with pytest.raises(InputError, match="pair"):
        write_csv(LAYOUT, [{"name": "\ud800"}])
