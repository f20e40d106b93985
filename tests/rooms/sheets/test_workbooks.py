"""XLSX as spreadsheet programs write it, and archives that mean harm."""

from __future__ import annotations

import datetime as dt
import io
import zipfile
from decimal import Decimal

import defusedxml
import openpyxl
import pytest

from coupage.errors import FileError
from coupage.sheets import Column, Layout, read_table
from coupage.sheets import workbook as workbook_module

LAYOUT = Layout(
    "batches",
    (
        Column("batch", "text"),
        Column("roasted", "number", unit="kg", required=False),
        Column("day", "date", required=False),
        Column("dropped", "datetime", required=False),
        Column("loss", "share", required=False),
    ),
)


def book(*rows, title="first", formats=None) -> openpyxl.Workbook:
    made = openpyxl.Workbook()
    made.active.title = title
    for row in rows:
        made.active.append(row)
    for place, form in (formats or {}).items():
        made.active[place].number_format = form
    return made


def saved(made: openpyxl.Workbook) -> bytes:
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


def problem(data: bytes) -> str:
    with pytest.raises(FileError) as caught:
        read_table(data, "b.xlsx", LAYOUT)
    assert len(caught.value.problems) == 1
    return str(caught.value)


def test_numbers_dates_and_percentages_come_as_what_they_are():
    made = book(
        ["Batch", "Roasted (kg)", "Day", "Dropped", "Loss"],
        [417, 0.1 + 0.2, dt.date(2026, 3, 5), dt.datetime.fromisoformat("2026-03-05 14:30"), 0.152],
        [7, 12, None, None, 0.01],
        formats={"E2": "0.0%", "E3": "0%", "A3": "000"},
    )
    table = read_table(saved(made), "b.xlsx", LAYOUT)
    assert table.rows[0] == {
        "batch": "417", "roasted": Decimal("0.3"), "day": dt.date(2026, 3, 5),
        "dropped": dt.datetime.fromisoformat("2026-03-05 14:30"), "loss": Decimal("0.152"),
    }  # fmt: skip
    assert table.rows[1]["batch"] == "007"
    assert table.rows[1]["loss"] == Decimal("0.01")
    assert table.notes == ()


def test_the_first_sheet_with_data_is_read_and_rows_keep_their_numbers():
    made = openpyxl.Workbook()
    made.create_sheet("empty too")
    sheet = made.create_sheet("data")
    sheet["A3"], sheet["B3"] = "batch", "roasted"
    sheet["A5"], sheet["B5"] = "a", 1
    table = read_table(saved(made), "b.xlsx", LAYOUT)
    assert table.row_numbers == [5]


def _with_cached(data: bytes, value: str) -> bytes:
    """Give formula cells the stored value that a spreadsheet program would have left."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            part = old.read(name)
            if name.startswith("xl/worksheets/"):
                for empty in (b"<v/>", b"<v />", b"<v></v>"):
                    part = part.replace(empty, f"<v>{value}</v>".encode())
            new.writestr(name, part)
    return out.getvalue()


def test_formulas_give_their_stored_value_and_are_refused_without_one():
    data = saved(book(["batch", "roasted"], ["a", "=6*7"]))
    assert read_table(_with_cached(data, "42"), "b.xlsx", LAYOUT).rows[0]["roasted"] == 42
    told = problem(data)
    assert "row 2" in told
    assert "B2" in told
    assert "save it" in told


def test_a_zip_bomb_is_refused_before_it_is_unpacked(monkeypatch):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", "")
        for part in range(3):
            archive.writestr(f"xl/worksheets/sheet{part}.xml", b"0" * 90_000_000)
    assert len(out.getvalue()) < 1_000_000

    def never(*args, **kwargs):
        raise AssertionError("the archive was unpacked")

    monkeypatch.setattr(openpyxl, "load_workbook", never)
    monkeypatch.setattr(zipfile.ZipFile, "read", never)
    assert "unpacks to" in problem(out.getvalue())


def test_an_archive_that_lies_about_its_size_is_refused():
    data = bytearray(saved(book(["batch", "roasted"], *(["a" * 100, i] for i in range(500)))))
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        size = archive.getinfo("xl/worksheets/sheet1.xml").file_size
    at = data.rfind(size.to_bytes(4, "little"))
    data[at : at + 4] = (100).to_bytes(4, "little")
    assert "cannot be read" in problem(bytes(data))


def test_xml_entities_are_not_expanded():
    # "Billion laughs": the W3C's XML 1.0 permits nested entities; defusedxml refuses them.
    data = saved(book(["batch"], ["a"]))
    out = io.BytesIO()
    laughs = (
        '<?xml version="1.0"?><!DOCTYPE w [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;">]>'
        '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
        '<row r="1"><c r="A1" t="inlineStr"><is><t>&b;</t></is></c></row></sheetData></worksheet>'
    )
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            new.writestr(name, laughs if name.endswith("sheet1.xml") else old.read(name))
    with pytest.raises(FileError, match="cannot be read") as caught:
        read_table(out.getvalue(), "b.xlsx", LAYOUT)
    reason: BaseException | None = caught.value
    while reason is not None and not isinstance(reason, defusedxml.EntitiesForbidden):
        reason = reason.__cause__ or reason.__context__
    assert isinstance(reason, defusedxml.EntitiesForbidden)


def test_other_archives_and_too_many_columns_are_told():
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
    assert "not an .xlsx workbook" in problem(out.getvalue())
    made = book(["batch"], ["a"])
    made.active["XFD1"] = "far away"
    assert "beyond column 200" in problem(saved(made))


def test_a_file_is_what_it_holds_not_what_it_is_called():
    assert read_table(saved(book(["batch"], ["a"])), "b.csv", LAYOUT).rows[0]["batch"] == "a"
    assert read_table(b"batch\na\n", "b.xlsx", LAYOUT).rows[0]["batch"] == "a"


def test_the_declared_limit_is_the_one_that_is_checked(monkeypatch):
    monkeypatch.setattr(workbook_module, "MAX_UNPACKED", 100)
    assert "unpacks to" in problem(saved(book(["batch"], ["a"])))
