"""Ratings and samples from two files, checked against each other, as columns for the panel."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from coupage.cli.files import read_bytes
from coupage.errors import FileError, FileProblem
from coupage.sheets import (
    MAX_PROBLEMS,
    Table,
    Value,
    read_ratings,
    read_table,
    samples_layout,
)

__all__ = ["Tables", "read_tables"]

_WHOLE = Decimal("0.000001")


@dataclass(frozen=True, slots=True)
class Tables:
    """Two clean files.

    Attributes
    ----------
    ratings, samples
        Columns as `coupage.panel.fit` takes them.
    made_of
        Composition of each sample: component to share.
    batches
        Batches of each sample, in file order.
    notes
        How the files were understood.
    """

    ratings: dict[str, list[Any]]
    samples: dict[str, list[Any]]
    made_of: dict[str, dict[str, float]]
    batches: dict[str, tuple[str, ...]]
    notes: tuple[str, ...]

    @property
    def attributes(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(self.ratings["attribute"]))

    @property
    def components(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(self.samples["component"]))


def read_tables(ratings_path: str, samples_path: str) -> Tables:
    """Read both files.

    Raises
    ------
    FileError
        With every problem of the first file that has one.
    InputError
        When a file is not there.
    """
    ratings_name, samples_name = Path(ratings_path).name, Path(samples_path).name
    samples = read_table(read_bytes(samples_path), samples_name, samples_layout())
    _raise(samples_name, [*_wrong_sums(samples), *_wrong_lots(samples), *_wrong_batches(samples)])
    ratings = read_ratings(read_bytes(ratings_path), ratings_name)
    _raise(ratings_name, _strangers(ratings, samples, samples_name))
    made_of: dict[str, dict[str, float]] = {}
    batches: dict[str, tuple[str, ...]] = {}
    for row in samples.rows:
        name, part = str(row["sample"]), str(row["component"])
        parts = made_of.setdefault(name, {})
        parts[part] = parts.get(part, 0.0) + float(row["proportion"])  # type: ignore[arg-type]
        if row["batch"] is not None:
            batches[name] = (*batches.get(name, ()), str(row["batch"]))
    return Tables(
        ratings=_columns(
            ratings,
            {"cupping": "cupping", "taster": "taster", "sample": "sample", "cup": "cup"}
            | {"attribute": "attribute", "rating": "rating", "pass": "pass_name"},
        ),
        samples=_columns(samples, {name: name for name in samples_layout().names}),
        made_of=made_of,
        batches=batches,
        notes=(
            *(f"{samples_name}: {note}" for note in samples.notes),
            *(f"{ratings_name}: {note}" for note in ratings.notes),
        ),
    )


def _columns(table: Table, names: dict[str, str]) -> dict[str, list[Any]]:
    columns = {new: [_plain(row[old]) for row in table.rows] for old, new in names.items()}
    return {name: cells for name, cells in columns.items() if any(c is not None for c in cells)}


def _plain(value: object) -> Any:
    return float(value) if isinstance(value, Decimal) else value


def _raise(name: str, problems: Iterable[FileProblem]) -> None:
    found = list(problems)[:MAX_PROBLEMS]
    if found:
        raise FileError(name, sorted(found, key=lambda problem: problem.row))


def _wrong_sums(samples: Table) -> Iterable[FileProblem]:
    sums: dict[Value, Decimal] = {}
    first: dict[Value, int] = {}
    for row, number in zip(samples.rows, samples.row_numbers, strict=True):
        name, share = row["sample"], row["proportion"]
        if isinstance(share, Decimal):
            sums[name] = sums.get(name, Decimal(0)) + share
        first.setdefault(name, number)
    for name, total in sums.items():
        if abs(total - 1) > _WHOLE:
            yield FileProblem(
                first[name],
                "proportion",
                f"the shares of sample {name!r} sum to {float(total * 100):g} %; "
                "mend them until they sum to 100 %",
            )


def _wrong_lots(samples: Table) -> Iterable[FileProblem]:
    return _one_of_each(
        samples, "component", "lot", "a component is one lot roasted one way; rename one of them"
    )


def _wrong_batches(samples: Table) -> Iterable[FileProblem]:
    return _one_of_each(
        samples, "batch", "component", "a batch is one roast of one coffee; rename one of them"
    )


def _one_of_each(samples: Table, key: str, other: str, why: str) -> Iterable[FileProblem]:
    """Each ``key`` may go with one ``other`` only."""
    seen: dict[Value, tuple[Value, int]] = {}
    for row, number in zip(samples.rows, samples.row_numbers, strict=True):
        if row[key] is None or row[other] is None:
            continue
        before, at = seen.setdefault(row[key], (row[other], number))
        if before != row[other]:
            yield FileProblem(
                number,
                other,
                f"{key} {row[key]!r} goes with {row[other]!r} here, with {before!r} in row {at}; "
                f"{why}",
            )


def _strangers(ratings: Table, samples: Table, where: str) -> Iterable[FileProblem]:
    known = list(dict.fromkeys(str(row["sample"]) for row in samples.rows))
    told: set[str] = set()
    for row, number in zip(ratings.rows, ratings.row_numbers, strict=True):
        name = str(row["sample"])
        if name not in known and name not in told:
            told.add(name)
            yield FileProblem(number, "sample", f"{name!r} is not in {where}; {_hint(name, known)}")


def _hint(name: str, known: Sequence[str]) -> str:
    near = get_close_matches(name, known, n=1)
    return f"did you mean {near[0]!r}?" if near else "describe it there, or leave its ratings out"
