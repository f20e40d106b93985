"""Files as people really send them are read; what cannot be read is named with its remedy."""

from __future__ import annotations

import csv
import datetime as dt
import io
from decimal import Decimal

import pytest

from coupage.errors import FileError, InputError
from coupage.sheets import MAX_BYTES, MAX_COLUMNS, MAX_PROBLEMS, Column, Layout, read_table, reading

LOTS = Layout(
    "lots",
    (
        Column("lot", "text"),
        Column("origin", "text", required=False, aliases=("country",)),
        Column("mass", "number", low=0, unit="kg"),
        Column("bags", "integer", required=False, low=1),
        Column("arrived", "date", required=False),
        Column("process", "choice", choices=("washed", "natural", "honey"), required=False),
        Column("organic", "yes-no", required=False, default=False),
        Column("loss", "share", required=False),
    ),
    key=("lot",),
)


def read(text: str, encoding: str = "utf-8", layout: Layout = LOTS):
    return read_table(text.encode(encoding), "lots.csv", layout)


def problems(data: str | bytes, layout: Layout = LOTS) -> list[tuple[int, str, str]]:
    raw = data.encode() if isinstance(data, str) else data
    with pytest.raises(FileError) as caught:
        read_table(raw, "lots.csv", layout)
    assert str(caught.value).startswith("lots.csv: ")
    return [(p.row, p.column, p.message) for p in caught.value.problems]


@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]
)
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("line_end", ["\r\n", "\n", "\r"])
def test_every_usual_encoding_delimiter_and_line_end_is_read(encoding, delimiter, line_end):
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=delimiter, lineterminator=line_end)
    writer.writerows(
        [["lot", "origin", "mass"], ["Café Müller", "Brasília", "61,5"], ["b", "c", "7"]]
    )
    rows = read(out.getvalue(), encoding).rows
    assert rows[0]["lot"] == "Café Müller"
    assert rows[0]["origin"] == "Brasília"
    assert [row["mass"] for row in rows] == [Decimal("61.5"), 7]


def test_quoted_cells_keep_delimiters_quotes_and_line_breaks():
    # RFC 4180, section 2, rules 6 and 7: the example "b CRLF bb", and "b""bb".
    rows = read('lot,origin,mass\r\n"aaa","b\r\nbb",1\r\n"b""bb","c,d",2\r\n').rows
    assert [row["origin"] for row in rows] == ["b\r\nbb", "c,d"]
    assert rows[1]["lot"] == 'b"bb'


def test_row_numbers_count_records_as_a_spreadsheet_does():
    table = read('lot,origin,mass\n"a","two\nlines",1\n\n,,\nb,,2\n')
    assert table.row_numbers == [2, 5]
    assert problems('lot,origin,mass\n"a","two\nlines",1\n\nb,,minus\n')[0][:2] == (4, "mass")


def test_a_line_that_names_the_delimiter_is_not_a_row():
    assert read("sep=;\r\nlot;mass\r\na;1,5\r\n").rows[0]["mass"] == Decimal("1.5")


def test_headings_match_whatever_their_case_spacing_unit_or_alias():
    rows = read(" LOT ,Country,Mass (kg),Loss %\nx,Rwanda,60,15\n").rows
    assert rows[0] == {
        "lot": "x", "origin": "Rwanda", "mass": 60, "bags": None, "arrived": None,
        "process": None, "organic": False, "loss": Decimal("0.15"),
    }  # fmt: skip


def test_every_kind_is_read():
    text = "lot,mass,bags,arrived,process,organic,loss\nx,14.2 kg,3,2026-03-05,Washed,Yes,15 %\n"
    row = read(text).rows[0]
    assert (row["mass"], row["bags"], row["arrived"]) == (Decimal("14.2"), 3, dt.date(2026, 3, 5))
    assert (row["process"], row["organic"], row["loss"]) == ("washed", True, Decimal("0.15"))
    assert isinstance(row["mass"], Decimal)


def test_shares_are_fractions_or_per_cent_by_the_whole_column_and_the_reading_is_told():
    fractions, per_cent = (
        read("lot,mass,loss\na,1,0.15\nb,1,1\n"),
        read("lot,mass,loss\na,1,15\nb,1,0\n"),
    )
    assert [row["loss"] for row in fractions.rows] == [Decimal("0.15"), 1]
    assert [row["loss"] for row in per_cent.rows] == [Decimal("0.15"), 0]
    assert "0.35 is 35 %" in fractions.notes[0]
    assert "35 is 35 %" in per_cent.notes[0]
    assert "0.35" not in per_cent.notes[0]
    signed = read("lot,mass,loss\na,1,0.5 %\nb,1,15%\n")
    assert [row["loss"] for row in signed.rows] == [Decimal("0.005"), Decimal("0.15")]
    assert signed.notes == ()


def test_a_share_column_that_mixes_both_is_refused_where_it_is_ambiguous():
    found = problems("lot,mass,loss\na,1,15\nb,1,0.5\nc,1,1\nd,1,12 %\n")
    assert [(row, column) for row, column, _ in found] == [(3, "loss"), (4, "loss")]
    assert "0.5 %" in found[0][2]
    assert "50 %" in found[0][2]


def test_shares_beyond_0_to_100_per_cent_are_refused():
    found = problems("lot,mass,loss\na,1,15\nb,1,115\nc,1,-3 %\n")
    assert [row for row, _, _ in found] == [3, 4]
    assert "115 % is above 100 %" in found[0][2]


def test_numbers_that_can_be_read_two_ways_are_refused_unless_the_file_settles_it():
    assert read("lot;mass\na;1,250\nb;14,5\n").rows[0]["mass"] == Decimal("1.25")
    assert read('lot,mass\na,"1,250"\nb,14.5\n').rows[0]["mass"] == 1250
    assert read("lot;mass\na;1.250\nb;14,5\n").rows[0]["mass"] == 1250
    assert read("lot;mass\na;1.250\n").rows[0]["mass"] == Decimal("1.25")
    (row, column, message) = problems("lot;mass\na;1,250\n")[0]
    assert (row, column) == (2, "mass")
    assert "1.25" in message
    assert "1250" in message


def test_dates_that_can_be_read_two_ways_are_refused_unless_the_file_settles_it():
    assert problems("lot,mass,arrived\na,1,3/4/2026\n")[0][:2] == (2, "arrived")
    settled = read("lot,mass,arrived\na,1,3/4/2026\nb,1,25/4/2026\n").rows
    assert settled[0]["arrived"] == dt.date(2026, 4, 3)


@pytest.mark.parametrize(
    ("cells", "column", "remedy"),
    [
        (",5,,,,,", "lot", "fill it in"),
        ("x,,,,,,", "mass", "fill it in"),
        ("x,heavy,,,,,", "mass", "write it like 14.2"),
        ("x,-5,,,,,", "mass", "below 0 kg"),
        ("x,nan,,,,,", "mass", "write it like"),
        ("x,1e999,,,,,", "mass", "write it like"),
        ("x,1_000,,,,,", "mass", "write it like"),
        ("x,5 lb,,,,,", "mass", "write it like"),
        ("x,5,2.5,,,,", "bags", "whole number"),
        ("x,5,0,,,,", "bags", "below 1"),
        ("x,5,,2026-02-30,,,", "arrived", "calendar"),
        ("x,5,,soon,,,", "arrived", "2026-03-05"),
        ("x,5,,5.3.26,,,", "arrived", "2026-03-05"),
        ("x,5,,,wahsed,,", "process", "did you mean 'washed'"),
        ("x,5,,,,maybe,", "organic", "yes or no"),
        ("x,#REF!,,,,,", "mass", "formula"),
    ],
)  # fmt: skip
def test_a_bad_cell_is_named_with_row_column_and_remedy(cells, column, remedy):
    found = problems(f"lot,mass,bags,arrived,process,organic,loss\nok,1,,,,,\n{cells}\n")
    assert [(row, name) for row, name, _ in found] == [(3, column)]
    assert remedy in found[0][2]


def test_all_problems_are_listed_and_capped():
    found = problems("lot,mass,bags\na,x,y\n,2,0\n")
    assert [(row, column) for row, column, _ in found] == [
        (2, "mass"), (2, "bags"), (3, "lot"), (3, "bags"),
    ]  # fmt: skip
    many = "lot,mass\n" + "".join(f"l{i},none\n" for i in range(MAX_PROBLEMS + 50))
    assert len(problems(many)) == MAX_PROBLEMS


def test_unknown_missing_and_doubled_columns_are_named():
    found = problems("lot,orgin,Mass,mass,zzz\na,b,1,2,3\n")
    messages = {column: message for _, column, message in found}
    assert "did you mean 'origin'" in messages["orgin"]
    assert "remove one" in messages["mass"]
    assert "known: lot, origin" in messages["zzz"]
    assert problems("lot\na\n") == [(1, "mass", "is missing; add a column headed mass")]
    assert "give it in kg" in problems("lot,mass (lb)\na,1\n")[0][2]
    assert problems("lot,,mass\na,stray,1\n")[0][1] == "no. 2"


def test_a_repeated_key_names_the_first_row():
    found = problems("lot,mass\na,1\nb,2\na,3\n")
    assert found[0][:2] == (4, "lot")
    assert "repeats row 2" in found[0][2]


def test_ragged_rows_are_named_and_short_ones_without_harm_are_read():
    assert "beyond the 2 headings" in problems("lot,mass\na,14,5\n")[0][2]
    assert "the row ends before it" in problems("lot,mass\na\n")[0][2]
    assert read("lot,mass,origin\na,1\nb,2,c,,\n").rows[0]["origin"] is None


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "empty"),
        (b"\xef\xbb\xbf", "empty"),
        (b"\r\n\r\n  \n", "empty"),
        (b",,\n,,\n", "empty"),
        (b"lot,mass\n", "no row below"),
        (b"lot,mass\n,\n\n", "no row below"),
        (b"lot,mass\na,\0\n", "NUL"),
        (b'lot,mass\n"a,1\nb,2\n', "quote"),
        (b'lot,mass\n"a"b,1\n', "quote"),
        (b"lot,mass\n" + b"a" * 200_000 + b",1\n", "131,072"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", ".xls"),
        (b"%PDF-1.7 ...", "PDF"),
        (b"PK\x03\x04 nothing that is an archive", "damaged"),
        (b"lot,mass\na\x81\x8d,1\n", "UTF-8"),
        (b"\xff\xfel", "UTF-8"),
    ],
)
def test_what_is_no_table_is_told_in_one_line(data, told):
    found = problems(data)
    assert len(found) == 1
    assert told in found[0][2]


def test_sizes_are_capped_before_the_work(monkeypatch):
    assert "split it" in problems(b"x" * (MAX_BYTES + 1))[0][2]
    wide = ",".join(f"c{i}" for i in range(MAX_COLUMNS + 1))
    assert "columns" in problems(f"{wide}\n1\n")[0][2]
    monkeypatch.setattr(reading, "MAX_ROWS", 3)
    assert "more than 3 rows" in problems("lot,mass\n" + "a,1\n" * 4)[0][2]


def test_layouts_that_contradict_themselves_are_refused():
    with pytest.raises(InputError, match="kind"):
        Column("a", "money")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="choices"):
        Column("a", "choice")
    with pytest.raises(InputError, match="heading"):
        Layout("l", (Column("green kg", "text"), Column("x", "text", aliases=("Green_KG",))))
    with pytest.raises(InputError, match="key"):
        Layout("l", (Column("a", "text"),), key=("b",))
