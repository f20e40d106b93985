"""Every error that Coupage raises on purpose.

::

    ValueError
    └── InputError            an argument or a file holds what the job cannot use
        ├── InfeasibleError   limits that no recipe or plan can satisfy together
        └── FileError         a file's row or column is wrong

A message says which value of what, what is allowed, what came, and how to mend it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["FileError", "FileProblem", "InfeasibleError", "InputError"]


class InputError(ValueError):
    """An argument or a file holds something that cannot be used."""


class InfeasibleError(InputError):
    """Limits that cannot hold together.

    Attributes
    ----------
    clashing
        Names of a smallest set of limits that clash, for a page to list.
    """

    def __init__(self, message: str, clashing: Sequence[str] = ()) -> None:
        super().__init__(message)
        self.clashing = tuple(clashing)


@dataclass(frozen=True, slots=True)
class FileProblem:
    """One thing wrong in a file: where, what, and how to mend it.

    ``row`` counts as a spreadsheet does, the heading being row 1; 0 means the file as a whole.
    """

    row: int
    column: str
    message: str

    def __str__(self) -> str:
        where = f"row {self.row}" if self.row else "file"
        if self.column:
            where += f", column {self.column!r}"
        return f"{where}: {self.message}"


class FileError(InputError):
    """A file with at least one problem; nothing of it was used."""

    def __init__(self, name: str, problems: Sequence[FileProblem]) -> None:
        self.name = name
        self.problems = tuple(problems)
        more = f" (and {len(self.problems) - 1} more)" if len(self.problems) > 1 else ""
        super().__init__(f"{name}: {self.problems[0]}{more}")
