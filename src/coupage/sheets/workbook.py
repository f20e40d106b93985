"""XLSX files in and out, through openpyxl (which parses with defusedxml).

References
----------
.. [1] ISO/IEC 29500-1:2016, 18.18.94 ST_Xstring: a character that XML cannot hold is written
   ``_xHHHH_``, and a text that looks so is written with ``_x005F_`` in front.
"""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from coupage.errors import FileError, FileProblem, InputError
from coupage.sheets.cells import NUMERIC, Raw, exact, number_of, plainly, shift, text_of
from coupage.sheets.guard import guard
from coupage.sheets.layout import Column, Layout

__all__ = ["MAX_UNPACKED", "is_workbook", "sheet_rows", "write_xlsx"]

MAX_UNPACKED = 200 * 1024 * 1024
_MAX_PARTS = 2_000
_MAX_CELLS = 20_000_000
_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")
_UNFIT = re.compile("[\x00-\x08\x0b-\x1f\ud800-\udfff\ufffe\uffff]|_(?=x[0-9A-Fa-f]{4}_)")
# Spreadsheets know no day before 1900, and some of them a wrong 29 February 1900.
_FIRST_DAY = date(1900, 3, 1)


def is_workbook(data: bytes) -> bool:
    """Whether the bytes are a ZIP archive, as every XLSX is."""
    return data[:4] in (b"PK\x03\x04", b"PK\x05\x06")


def _check_archive(data: bytes, filename: str) -> None:
    """Look at the sizes that the archive declares before anything is unpacked.

    Python's zipfile never unpacks more of a part than its declared size, so that they bind.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = archive.infolist()
    except (zipfile.BadZipFile, NotImplementedError, ValueError, OSError):
        _refuse(filename, "is a damaged archive; save it again as .xlsx or CSV")
    names = {part.filename for part in parts}
    unpacked = sum(part.file_size for part in parts)
    if unpacked > MAX_UNPACKED or len(parts) > _MAX_PARTS:
        _refuse(
            filename,
            f"unpacks to {unpacked / 1024**2:,.0f} MB in {len(parts)} parts; at most "
            f"{MAX_UNPACKED // 1024**2} MB in {_MAX_PARTS} parts are read; save the table as CSV",
        )
    if "xl/workbook.xml" not in names and "[Content_Types].xml" not in names:
        _refuse(filename, "is not an .xlsx workbook; save it as .xlsx or CSV")


def _refuse(filename: str, why: str, row: int = 0) -> None:
    raise FileError(filename, [FileProblem(row, "", why)])


def sheet_rows(data: bytes, filename: str, max_columns: int) -> Iterator[tuple[int, list[Raw]]]:
    """Rows of the first sheet that holds anything, with their row numbers.

    Numbers in per cent format come as text with the sign, since that is what their author sees.
    Formulas come as the value that the spreadsheet program stored.

    Raises
    ------
    FileError
        When the file is no workbook, too large, or a formula has no stored value.
    """
    _check_archive(data, filename)
    from openpyxl import load_workbook

    # What openpyxl warns of (styles, validation, charts) is nothing that a reader of values needs.
    warnings.filterwarnings("ignore", category=UserWarning, module="openpyxl")
    try:
        values = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
        formulas = _with_formulas(data)
        for index, sheet in enumerate(values.worksheets):
            source = formulas.worksheets[index] if formulas else None
            rows = _rows(sheet, source, filename, max_columns)
            first = next((row for row in rows if any(cell is not None for cell in row[1])), None)
            if first is not None:
                yield first
                yield from rows
                return
    except FileError:
        raise
    except Exception as error:  # the parser raises whatever its XML brings up
        raise FileError(
            filename,
            [
                FileProblem(
                    0,
                    "",
                    f"cannot be read as a workbook ({type(error).__name__}); "
                    "open it in a spreadsheet program and save it again as .xlsx or CSV",
                )
            ],
        ) from error


def _with_formulas(data: bytes) -> Any:
    """The workbook once more with its formulas, if a sheet has any."""
    from openpyxl import load_workbook

    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        sheets = [n for n in archive.namelist() if n.startswith("xl/worksheets/")]
        if not any(b"<f" in archive.read(name) for name in sheets if name.endswith(".xml")):
            return None
    return load_workbook(io.BytesIO(data), read_only=True, data_only=False)


def _rows(
    sheet: Any, source: Any, filename: str, max_columns: int
) -> Iterator[tuple[int, list[Raw]]]:
    # The declared dimension is often wrong; without it every row that is there is read.
    sheet.reset_dimensions()
    if source is not None:
        source.reset_dimensions()
    sources = source.iter_rows() if source is not None else None
    width = 0
    for number, cells in enumerate(sheet.iter_rows(), start=1):
        width += len(cells)
        if width > _MAX_CELLS:
            _refuse(filename, "has too many formatted empty cells; save the table as CSV")
        row = [_raw(cell) for cell in cells]
        if any(cell is not None for cell in row[max_columns:]):
            _refuse(filename, f"has values beyond column {max_columns}; remove them", number)
        if sources is not None:
            _check_stored(next(sources), row, filename, number)
        yield number, row[:max_columns]


def _check_stored(formulas: Any, row: list[Raw], filename: str, number: int) -> None:
    for at, cell in enumerate(formulas):
        if cell.data_type == "f" and row[at] is None:
            _refuse(
                filename,
                f"holds a formula in cell {cell.coordinate} whose value was never stored; "
                "open the file in a spreadsheet program and save it",
                number,
            )


def _raw(cell: Any) -> Raw:
    value = cell.value
    if isinstance(value, str):
        return _ESCAPED.sub(lambda found: chr(int(found[1], 16)), value)
    if isinstance(value, int | float) and not isinstance(value, bool):
        form = cell.number_format or ""
        if "%" in form:
            return f"{plainly(shift(exact(value), 2))}%"
        if form and set(form) == {"0"} and len(form) > 1 and value == int(value) >= 0:
            return f"{int(value):0{len(form)}d}"  # a code such as 007, kept by its format
    return value  # type: ignore[no-any-return]


def write_xlsx(layout: Layout, rows: Iterable[Mapping[str, object]]) -> bytes:
    """Write a table as an XLSX workbook of one sheet that reads back into the same values.

    Numbers and dates are numbers and dates; what a spreadsheet cannot hold exactly (more than 15
    digits, time zones, days before March 1900) is written as text instead.

    Raises
    ------
    InputError
        When a value cannot be written.
    """
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font

    book = Workbook(write_only=True)
    sheet = book.create_sheet(re.sub(r"[\[\]:*?/\\']", " ", layout.name)[:31] or "Table")
    sheet.freeze_panes = "A2"
    heads = []
    for column in layout.columns:
        cell = WriteOnlyCell(sheet, value=_fit(guard(column.name)))
        cell.font = Font(bold=True)
        heads.append(cell)
    # Every cell is made before the first is written: a refused value leaves no file half open.
    body = [
        [_cell(sheet, column, row.get(column.name)) for column in layout.columns] for row in rows
    ]
    sheet.append(heads)
    for cells in body:
        sheet.append(cells)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _cell(sheet: Any, column: Column, value: object) -> Any:
    from openpyxl.cell import WriteOnlyCell

    if value is None:
        return None
    if (
        isinstance(value, int | float | Decimal)
        and not isinstance(value, bool)
        and column.kind in NUMERIC
    ):
        number = number_of(column, value)
        if exact(float(number)) == number:
            cell = WriteOnlyCell(sheet, value=float(number))
            if number == int(number) and column.kind != "share" and abs(number) < 10**15:
                cell = WriteOnlyCell(sheet, value=int(number))
            if column.kind == "share":
                cell.number_format = "0.##%"
            return cell
    elif isinstance(value, datetime):
        if value.tzinfo is None and not value.microsecond and value.date() >= _FIRST_DAY:
            return WriteOnlyCell(sheet, value=value)
    elif isinstance(value, date) and value >= _FIRST_DAY:
        return WriteOnlyCell(sheet, value=value)  # type: ignore[arg-type]
    cell = WriteOnlyCell(sheet, value=_fit(text_of(column, value)))
    cell.data_type = "s"  # whatever it begins with, it is text
    return cell


def _fit(text: str) -> str:
    if len(text) > 32_000:
        raise InputError(f"a text of {len(text)} characters does not fit a cell; write CSV instead")
    return _UNFIT.sub(lambda found: f"_x{ord(found[0]):04X}_", text)
