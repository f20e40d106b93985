"""Read a table from a CSV or XLSX file, or list everything that is wrong with it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

from coupage.errors import FileError, FileProblem, InputError
from coupage.sheets.cells import Raw, Reader, readers
from coupage.sheets.guard import unguard
from coupage.sheets.layout import Column, Layout, Value, plain_heading, split_unit
from coupage.sheets.text import records
from coupage.sheets.workbook import is_workbook, sheet_rows

__all__ = [
    "MAX_BYTES",
    "MAX_COLUMNS",
    "MAX_PROBLEMS",
    "MAX_ROWS",
    "Grid",
    "Table",
    "read_grid",
    "read_table",
]

MAX_BYTES = 25 * 1024 * 1024
MAX_ROWS = 200_000
MAX_COLUMNS = 200
MAX_PROBLEMS = 200


@dataclass(frozen=True, slots=True)
class Table:
    """A clean table.

    Attributes
    ----------
    rows
        One mapping from column name to value per row; every column of the layout is there.
    row_numbers
        Where each row stood in the file, the heading being row 1.
    notes
        How the file was understood where that could have been otherwise, for a dry run to show.
    """

    layout: Layout
    filename: str
    rows: list[dict[str, Value]]
    row_numbers: list[int]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Grid:
    """A file's headings and cells, not yet understood. Empty rows are left out."""

    filename: str
    heading_row: int
    headings: list[str]
    rows: list[tuple[int, list[Raw]]]


def read_table(data: bytes, filename: str, layout: Layout) -> Table:
    r"""Read a CSV or XLSX file by a layout.

    The content decides which it is, not the name. Headings match without regard to case, spaces,
    underscores and hyphens. Shares: a number with a per cent sign (behind it, in its heading or by
    its cell format) is per cent; plain numbers are fractions when no number of the column is above
    1, per cent when none lies in 0..1 (0 excepted), and refused when both occur.

    Parameters
    ----------
    data
        The file's bytes.
    filename
        Its name, for the messages.
    layout
        What it must look like.

    Raises
    ------
    FileError
        With up to 200 problems, each with its row, column and remedy.

    Examples
    --------
    >>> from coupage.sheets.layout import Column, Layout
    >>> lots = Layout("lots", (Column("lot", "text"), Column("mass", "number", unit="kg")))
    >>> read_table("Lot;Mass (kg)\r\nGuji 12;61,5\r\n".encode("utf-16"), "lots.csv", lots).rows
    [{'lot': 'Guji 12', 'mass': Decimal('61.5')}]
    """
    return understand(read_grid(data, filename, layout), layout)


def read_grid(data: bytes, filename: str, layout: Layout) -> Grid:
    """Read headings and cells of a file; ``layout`` helps to tell the delimiter.

    Raises
    ------
    FileError
        When there is nothing to read, or too much.
    """
    if len(data) > MAX_BYTES:
        _refuse(
            filename,
            f"is {len(data) / 1024**2:,.0f} MB; at most {MAX_BYTES // 1024**2} MB are read; "
            "split it into several files",
        )
    if not data.strip(b" \r\n\t\0\xef\xbb\xbf\xff\xfe,;"):
        _refuse(filename, "is empty; give a table with a heading row and at least one row below")
    rows = _all_rows(data, filename, layout)
    heading_row, heading = next(rows, (0, []))
    if not heading_row:
        _refuse(filename, "is empty; give a table with a heading row and at least one row below")
    headings = ["" if cell is None else unguard(str(cell)) for cell in heading]
    while headings and not headings[-1]:
        headings.pop()
    if len(headings) > MAX_COLUMNS:
        _refuse(filename, f"has more than {MAX_COLUMNS} columns; leave only those that are needed")
    found: list[tuple[int, list[Raw]]] = []
    for number, cells in rows:
        if len(found) >= MAX_ROWS:
            _refuse(filename, f"has more than {MAX_ROWS:,} rows; split it into several files")
        found.append((number, cells))
    if not found:
        _refuse(filename, "has a heading but no row below it; add the rows")
    return Grid(filename, heading_row, headings, found)


def _all_rows(data: bytes, filename: str, layout: Layout) -> Iterator[tuple[int, list[Raw]]]:
    known = {plain_heading(text) for column in layout.columns for text in column.headings}
    rows: Iterator[tuple[int, Sequence[Raw]]]
    if is_workbook(data):
        rows = sheet_rows(data, filename, MAX_COLUMNS)
    else:
        rows = records(
            data, filename, lambda cell: plain_heading(split_unit(unguard(cell))[0]) in known
        )
    for number, cells in rows:
        if any(not _blank(cell) for cell in cells):
            yield number, list(cells)


def _blank(cell: Raw) -> bool:
    return cell is None or (isinstance(cell, str) and not cell.strip())


def _refuse(filename: str, why: str) -> None:
    raise FileError(filename, [FileProblem(0, "", why)])


def understand(grid: Grid, layout: Layout) -> Table:
    """Turn a grid into a table by a layout, or raise all that is wrong with it."""
    problems = _Problems(grid.filename)
    places, percent = _match(grid, layout, problems)
    problems.raise_any()  # with the wrong headings every row would only repeat it
    present = [column for column in layout.columns if column.name in places]
    columns_of_cells = [
        [_cell(cells, places[column.name]) for _, cells in grid.rows] for column in present
    ]
    crew = readers(present, columns_of_cells, [column.name in percent for column in present])
    absent = {c.name: c.default for c in layout.columns if c.name not in places}
    rows, numbers = [], []
    for number, cells in grid.rows:
        _check_length(number, cells, grid, problems)
        row = dict(absent)
        for reader in crew:
            row[reader.column.name] = _read(reader, number, cells, places, grid, problems)
        rows.append({name: row[name] for name in layout.names})
        numbers.append(number)
        if problems.full:
            break
    _check_keys(rows, numbers, layout, problems)
    problems.raise_any()
    return Table(layout, grid.filename, rows, numbers, _notes(crew, columns_of_cells))


class _Problems:
    def __init__(self, filename: str) -> None:
        self.filename = filename
        self.found: list[FileProblem] = []

    @property
    def full(self) -> bool:
        return len(self.found) >= MAX_PROBLEMS

    def add(self, row: int, column: str, message: str) -> None:
        if not self.full:
            self.found.append(FileProblem(row, column, message))

    def raise_any(self) -> None:
        if self.found:
            raise FileError(self.filename, sorted(self.found, key=lambda problem: problem.row))


def _cell(cells: Sequence[Raw], place: int) -> Raw:
    return cells[place] if place < len(cells) else None


def _match(grid: Grid, layout: Layout, problems: _Problems) -> tuple[dict[str, int], set[str]]:
    """Where each column stands, and which headings bear a per cent sign."""
    by_heading = {plain_heading(t): c for c in layout.columns for t in c.headings}
    places: dict[str, int] = {}
    percent: set[str] = set()
    for place, heading in enumerate(grid.headings):
        if not heading:
            if any(not _blank(_cell(cells, place)) for _, cells in grid.rows):
                problems.add(
                    grid.heading_row,
                    f"no. {place + 1}",
                    "has values but no heading; name or remove it",
                )
            continue
        column, unit = _column(heading, by_heading)
        if column is None:
            problems.add(grid.heading_row, heading, _unknown(heading, layout, by_heading))
        elif column.name in places:
            other = grid.headings[places[column.name]]
            problems.add(
                grid.heading_row,
                heading,
                f"means {column.name!r}, as column {other!r} does; remove one",
            )
        else:
            places[column.name] = place
            if unit == "%" and column.kind == "share":
                percent.add(column.name)
            elif unit and unit.casefold() != column.unit.casefold():
                problems.add(
                    grid.heading_row,
                    heading,
                    f"is in {unit!r}; "
                    + (f"give it in {column.unit}" if column.unit else "remove the unit"),
                )
    for column in layout.columns:
        if column.required and column.name not in places:
            also = f" (or {', '.join(column.aliases)})" if column.aliases else ""
            problems.add(
                grid.heading_row,
                column.name,
                f"is missing; add a column headed {column.name}{also}",
            )
    return places, percent


def _column(heading: str, by_heading: dict[str, Column]) -> tuple[Column | None, str]:
    whole = by_heading.get(plain_heading(heading))
    if whole is not None:
        return whole, ""
    name, unit = split_unit(heading)
    return by_heading.get(plain_heading(name)), unit


def _unknown(heading: str, layout: Layout, by_heading: dict[str, Column]) -> str:
    near = get_close_matches(plain_heading(heading), by_heading, n=1, cutoff=0.5)
    if near:
        return f"is unknown; did you mean {by_heading[near[0]].name!r}? Rename or remove it"
    return f"is unknown; rename or remove it (known: {', '.join(layout.names)})"


def _check_length(number: int, cells: Sequence[Raw], grid: Grid, problems: _Problems) -> None:
    extra = [cell for cell in cells[len(grid.headings) :] if not _blank(cell)]
    if extra:
        problems.add(
            number,
            "",
            f"has values beyond the {len(grid.headings)} headings, first {str(extra[0])[:20]!r}; "
            "quote a cell that holds the delimiter (a decimal comma, say), or remove the surplus",
        )


def _read(
    reader: Reader,
    number: int,
    cells: Sequence[Raw],
    places: dict[str, int],
    grid: Grid,
    problems: _Problems,
) -> Value:
    name = reader.column.name
    try:
        return reader.read(_cell(cells, places[name]))
    except InputError as error:
        short = places[name] >= len(cells)
        why = "is missing, the row ends before it; fill it in" if short else str(error)
        problems.add(number, grid.headings[places[name]], why)
        return None


def _check_keys(
    rows: Sequence[dict[str, Value]], numbers: Sequence[int], layout: Layout, problems: _Problems
) -> None:
    if not layout.key:
        return
    first: dict[tuple[Value, ...], int] = {}
    bad = {problem.row for problem in problems.found}
    for row, number in zip(rows, numbers, strict=True):
        if number in bad:
            continue
        key = tuple(row[name] for name in layout.key)
        if key in first:
            told = ", ".join(str(part) for part in key if part is not None)
            problems.add(
                number,
                ", ".join(layout.key),
                f"repeats row {first[key]} ({told}); remove one of the two",
            )
        else:
            first[key] = number


def _notes(crew: Sequence[Reader], cells: Sequence[Sequence[Raw]]) -> tuple[str, ...]:
    notes = []
    for reader, column in zip(crew, cells, strict=True):
        if reader.column.kind != "share":
            continue
        plain = [c for c in column if not _blank(c) and not (isinstance(c, str) and "%" in c)]
        if plain:
            example = "0.35 is 35 %" if reader.share_as == "fraction" else "35 is 35 %"
            notes.append(
                f"{reader.column.name}: numbers without a % sign were read so that {example}"
            )
    return tuple(notes)
