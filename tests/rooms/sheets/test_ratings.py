"""Ratings in the long form and in the wide form that people keep."""

from __future__ import annotations

import io
from decimal import Decimal

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coupage.errors import FileError
from coupage.sheets import (
    long_from_wide,
    ratings_layout,
    read_ratings,
    read_table,
    samples_layout,
    wide_from_long,
    wide_layout,
    write_csv,
    write_xlsx,
)

LONG = b"""cupping,taster,sample,attribute,rating,cup,pass
May 4,Ines,417,acidity,6.5,1,hot
May 4,Ines,417,body,4,1,hot
May 4,Odd,417,acidity,5,1,hot
"""
WIDE = b"""Cupping;Taster;Code;Cup;Pass;acidity;body;Notes
May 4;Ines;417;1;hot;6,5;4;like plum
May 4;Odd;417;1;hot;5;;
"""


def test_both_forms_give_the_same_ratings():
    long, wide = read_ratings(LONG, "r.csv"), read_ratings(WIDE, "r.csv")
    assert long.rows == wide.rows
    assert wide.row_numbers == [2, 2, 3]
    assert any("Notes" in note for note in wide.notes)


def test_melting_agrees_with_a_data_frame_library():
    frame = pd.read_csv(io.BytesIO(WIDE), sep=";", decimal=",").drop(columns="Notes")
    melted = frame.melt(["Cupping", "Taster", "Code", "Cup", "Pass"]).dropna()
    ours = {(r["taster"], r["attribute"], float(r["rating"])) for r in read_ratings(WIDE, "r").rows}
    assert ours == set(zip(melted["Taster"], melted["variable"], melted["value"], strict=True))


ratings = st.dictionaries(
    st.tuples(
        st.sampled_from(["May 4", "May 11"]), st.sampled_from(["Ines", "Odd"]),
        st.sampled_from(["417", "082"]), st.integers(1, 3), st.sampled_from([None, "hot", "cool"]),
        st.sampled_from(["acidity", "body", "=sweet"]),
    ),
    st.integers(0, 20).map(lambda half: Decimal(half) / 2),
    min_size=1,
)  # fmt: skip


@pytest.mark.parametrize("write", [write_csv, write_xlsx])
@settings(deadline=None, max_examples=25)
@given(table=ratings)
def test_long_to_wide_file_and_back_loses_nothing(write, table):
    names = ("cupping", "taster", "sample", "cup", "pass", "attribute")
    long = [
        dict(zip(names, place, strict=True)) | {"rating": rating} for place, rating in table.items()
    ]
    wide, attributes = wide_from_long(long)
    key = lambda row: tuple(str(row[name]) for name in names)  # noqa: E731
    assert sorted(long_from_wide(wide, attributes), key=key) == sorted(long, key=key)
    back = read_ratings(write(wide_layout(attributes), wide), "w").rows
    assert sorted(back, key=key) == sorted(long, key=key)


@pytest.mark.parametrize(
    ("text", "row", "column", "told"),
    [
        ("cupping,taster,sample,attribute,rating\na,b,c,acidity,10.5\n", 2, "rating", "above 10"),
        ("cupping,taster,sample,attribute,rating\na,b,c,acidity,\n", 2, "rating", "fill it in"),
        (
            "cupping,taster,sample,attribute,rating\na,b,c,x,1\na,b,c,x,2\n",
            3,
            "cupping",
            "repeats row 2",
        ),
        ("cupping,taster,sample,acidity\na,b,c,sour\n", 2, "acidity", "not a number"),
        ("cupping,taster,sample,acidity\na,b,c,1\na,b,c,1\n", 3, "cupping", "repeats row 2"),
        ("cupping,taster,sample,acidity,Acidity\na,b,c,1,2\n", 1, "Acidity", "remove one"),
        ("cupping,tastr,sample,acidity\na,b,c,1\n", 1, "taster", "missing"),
        ("cupping,taster,sample\na,b,c\n", 1, "", "no rating"),
        ("cupping,taster,sample,code,acidity\na,b,c,d,1\n", 1, "code", "remove one"),
    ],
)
def test_bad_ratings_are_named(text, row, column, told):
    with pytest.raises(FileError) as caught:
        read_ratings(text.encode(), "r.csv")
    found = [p for p in caught.value.problems if p.row == row and p.column.startswith(column)]
    assert any(told in problem.message for problem in found)


def test_samples_take_shares_as_people_write_them():
    text = "Code;Coffee;Share;Age (days)\n417;Nyeri;60 %;8\n417;Yirga;40 %;9\n"
    rows = read_table(text.encode(), "s.csv", samples_layout()).rows
    assert [row["proportion"] for row in rows] == [Decimal("0.6"), Decimal("0.4")]
    assert rows[1]["age_days"] == 9


def test_layouts_are_described_for_people():
    for layout in (ratings_layout(), samples_layout()):
        assert layout.description
        assert all(column.help for column in layout.columns)
