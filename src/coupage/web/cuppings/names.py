"""Names that would not stand well beside others: in a heading, on a label, in a file."""

from __future__ import annotations

from collections.abc import Iterable

from coupage.errors import InputError
from coupage.sheets import wide_layout

__all__ = ["attribute_problem", "folded"]


def folded(name: str) -> str:
    """Return what a name sounds like: case, spaces, hyphens and underscores do not count."""
    return " ".join(name.replace("_", " ").replace("-", " ").split()).casefold()


def attribute_problem(name: str, others: Iterable[str]) -> str:
    """Say why an attribute cannot have this name, or nothing when it can.

    The wide form of ratings has a column per attribute, so a name must differ from the other
    columns and from the other attributes when files write it a little otherwise.
    """
    if any(folded(other) == folded(name) for other in others):
        return "another attribute has nearly this name; choose one that differs by more than case"
    if folded(name) in {"attribute", "rating", "score", "intensity", "note", "notes", "words"}:
        return "files of ratings use this word as a heading already; choose another name"
    try:
        wide_layout([name])
    except InputError:
        return "files of ratings use this word as a heading already; choose another name"
    return ""
