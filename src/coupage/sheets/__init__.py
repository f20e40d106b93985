"""Tables in and out: CSV and XLSX by a layout, every problem named with row, column and remedy."""

from __future__ import annotations

from coupage.sheets.layout import Column, Kind, Layout, Value
from coupage.sheets.ratings import (
    long_from_wide,
    ratings_layout,
    read_ratings,
    samples_layout,
    wide_from_long,
    wide_layout,
)
from coupage.sheets.reading import (
    MAX_BYTES,
    MAX_COLUMNS,
    MAX_PROBLEMS,
    MAX_ROWS,
    Table,
    read_table,
)
from coupage.sheets.workbook import write_xlsx
from coupage.sheets.writing import iter_csv, write_csv

__all__ = [
    "MAX_BYTES",
    "MAX_COLUMNS",
    "MAX_PROBLEMS",
    "MAX_ROWS",
    "Column",
    "Kind",
    "Layout",
    "Table",
    "Value",
    "iter_csv",
    "long_from_wide",
    "ratings_layout",
    "read_ratings",
    "read_table",
    "samples_layout",
    "wide_from_long",
    "wide_layout",
    "write_csv",
    "write_xlsx",
]
