"""Ratings as files: one rating a row, or wide as people keep them, one column per attribute."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal

from coupage.errors import FileError, FileProblem
from coupage.sheets.layout import Column, Layout, Value, plain_heading, split_unit
from coupage.sheets.reading import Grid, Table, read_grid, understand

__all__ = [
    "long_from_wide",
    "ratings_layout",
    "read_ratings",
    "samples_layout",
    "wide_from_long",
    "wide_layout",
]

_SCALE = Decimal(10)
_PLACE = ("cupping", "taster", "sample", "cup", "pass")
_NOT_RATED = frozenset(
    {"note", "notes", "word", "words", "comment", "comments", "remark", "remarks"}
)


def _place_columns() -> tuple[Column, ...]:
    return (
        Column("cupping", "text", help="Name or date of the table", aliases=("session", "table")),
        Column("taster", "text", help="Who tasted", aliases=("cupper", "assessor", "panelist")),
        Column("sample", "text", help="Sample name or its code", aliases=("code", "sample code")),
    )


def _cup_columns() -> tuple[Column, ...]:
    return (
        Column(
            "cup",
            "integer",
            required=False,
            low=1,
            default=1,
            aliases=("cup no", "cup number"),
            help="Which cup of the sample, 1 unless several are poured",
        ),
        Column(
            "pass",
            "text",
            required=False,
            help="Round of tasting: hot, warm, cool ...",
            aliases=("pass name", "round"),
        ),
    )


def ratings_layout() -> Layout:
    """The long form: one rating a row."""
    return Layout(
        "ratings",
        (
            *_place_columns(),
            Column("attribute", "text", help="What was rated, acidity say"),
            Column(
                "rating",
                "number",
                low=0,
                high=_SCALE,
                help="Intensity, 0 to 10",
                aliases=("score", "intensity"),
            ),
            *_cup_columns(),
        ),
        key=("cupping", "taster", "sample", "cup", "pass", "attribute"),
        description="One taster's intensity, 0 to 10, for one attribute of one cup in one pass.",
    )


def wide_layout(attributes: Sequence[str]) -> Layout:
    """The wide form: one row for a taster and cup, one column per attribute."""
    rated = tuple(
        Column(name, "number", required=False, low=0, high=_SCALE, help="Intensity, 0 to 10")
        for name in attributes
    )
    return Layout(
        "ratings",
        (*_place_columns(), *_cup_columns(), *rated),
        key=("cupping", "taster", "sample", "cup", "pass"),
        description="One taster's intensities, 0 to 10, of one cup and pass; empty if not rated.",
    )


def samples_layout() -> Layout:
    """What each sample was made of: one row per sample and component."""
    return Layout(
        "samples",
        (
            Column(
                "sample",
                "text",
                help="Sample name or code, as in the ratings",
                aliases=("code", "sample code"),
            ),
            Column(
                "component",
                "text",
                help="Coffee: a lot roasted by an approach",
                aliases=("coffee",),
            ),
            Column(
                "proportion", "share", help="Share of the sample's roasted mass", aliases=("share",)
            ),
            Column("batch", "text", required=False, help="Roast batch of this component"),
            Column(
                "age_days",
                "number",
                required=False,
                low=0,
                unit="days",
                help="Days since roasting",
                aliases=("age",),
            ),
            Column("lot", "text", required=False, help="Green lot of this component"),
        ),
        key=("sample", "component", "batch"),
        description="Shares of each sample sum to 100 %; a straight coffee is one row of 100 %.",
    )


def long_from_wide(
    rows: Iterable[Mapping[str, Value]], attributes: Sequence[str]
) -> list[dict[str, Value]]:
    """One row per rating from one row per cup; empty ratings are left out.

    Examples
    --------
    >>> long = long_from_wide(
    ...     [{"cupping": "May 4", "taster": "Ines", "sample": "417", "acidity": 6, "body": None}],
    ...     ["acidity", "body"],
    ... )
    >>> [(row["attribute"], row["rating"], row["cup"]) for row in long]
    [('acidity', 6, 1)]
    """
    return [long for row in rows for long in _ratings_of(row, attributes)]


def _ratings_of(row: Mapping[str, Value], attributes: Sequence[str]) -> list[dict[str, Value]]:
    place = {name: row.get(name) for name in _PLACE}
    place["cup"] = 1 if place["cup"] is None else place["cup"]
    return [
        {**place, "attribute": name, "rating": row[name]}
        for name in attributes
        if row.get(name) is not None
    ]


def wide_from_long(rows: Iterable[Mapping[str, Value]]) -> tuple[list[dict[str, Value]], list[str]]:
    """One row per cup from one row per rating, and the attributes in order of first appearance.

    Returns
    -------
    rows, attributes
        For ``write_csv(wide_layout(attributes), rows)``.
    """
    attributes: dict[str, None] = {}
    wide: dict[tuple[Value, ...], dict[str, Value]] = {}
    for row in rows:
        place = tuple(row.get(name) for name in _PLACE)
        cup = wide.setdefault(place, dict(zip(_PLACE, place, strict=True)))
        attributes[str(row["attribute"])] = None
        cup[str(row["attribute"])] = row["rating"]
    return list(wide.values()), list(attributes)


def read_ratings(data: bytes, filename: str) -> Table:
    r"""Read ratings in either form, told apart by the headings, into the long form.

    A file with a column ``attribute`` or ``rating`` is long. In a wide file every column besides
    cupping, taster, sample, cup and pass is an attribute, save columns of notes.

    Raises
    ------
    FileError
        With every problem of the file.

    Examples
    --------
    >>> wide = b"cupping,taster,sample,acidity,body\nMay 4,Ines,417,6.5,4\n"
    >>> [(row["attribute"], row["rating"]) for row in read_ratings(wide, "r.csv").rows]
    [('acidity', Decimal('6.5')), ('body', Decimal('4'))]
    """
    grid = read_grid(data, filename, ratings_layout())
    known = {
        plain_heading(text): column.name
        for column in ratings_layout().columns
        for text in column.headings
    }
    meant = [known.get(plain_heading(split_unit(heading)[0])) for heading in grid.headings]
    if "attribute" in meant or "rating" in meant:
        return understand(grid, ratings_layout())
    return _from_wide(grid, meant)


def _from_wide(grid: Grid, meant: Sequence[str | None]) -> Table:
    attributes, notes, dropped = [], [], set()
    seen = set()
    for place, heading in enumerate(grid.headings):
        if meant[place] or not heading:
            continue
        if plain_heading(heading) in _NOT_RATED:
            dropped.add(place)
            notes.append(f"column {heading!r} holds notes, not ratings, and was left out")
        elif plain_heading(heading) not in seen:
            seen.add(plain_heading(heading))
            attributes.append(heading)
    if not attributes:
        raise FileError(
            grid.filename,
            [
                FileProblem(
                    grid.heading_row,
                    "",
                    "has no rating: add columns attribute and rating, or a column per attribute",
                )
            ],
        )
    kept = [place for place in range(len(grid.headings)) if place not in dropped]
    width = len(grid.headings)
    slim = Grid(
        grid.filename,
        grid.heading_row,
        [grid.headings[place] for place in kept],
        [
            (n, [cells[p] if p < len(cells) else None for p in kept] + cells[width:])
            for n, cells in grid.rows
        ],
    )
    wide = understand(slim, wide_layout(attributes))
    rows: list[dict[str, Value]] = []
    numbers: list[int] = []
    for row, number in zip(wide.rows, wide.row_numbers, strict=True):
        ratings = _ratings_of(row, attributes)
        rows += ratings
        numbers += [number] * len(ratings)
    return Table(ratings_layout(), grid.filename, rows, numbers, (*wide.notes, *notes))
