"""Columns of any table, read with errors that say which row and column."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from typing import Any, Protocol, cast

import numpy as np
from numpy.typing import NDArray

from coupage.errors import InputError

__all__ = ["Columns", "Reader", "nearest"]

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]


class Columns(Protocol):
    """A table by columns: ``table["name"]`` is a one-dimensional array."""

    def __getitem__(self, name: str, /) -> Any: ...


def nearest(name: str, known: Sequence[str]) -> str:
    """End a message about an unknown name: the likeliest ones that were meant.

    Examples
    --------
    >>> nearest("sweetnes", ["acidity", "sweetness"])
    "did you mean 'sweetness'?"
    """
    close = difflib.get_close_matches(name, known, n=3, cutoff=0.6)
    if close:
        return "did you mean " + " or ".join(repr(c) for c in close) + "?"
    shown = ", ".join(repr(k) for k in known[:8])
    return f"known are {shown}" + (", ..." if len(known) > 8 else "")


class Reader:
    """Read columns of one table with errors that say where."""

    def __init__(self, table: Columns, what: str, required: Sequence[str]) -> None:
        self.what = what
        columns = getattr(table, "columns", None)
        if columns is None:
            columns = cast(Any, table).keys()
        self.names = [str(c) for c in columns]
        for name in required:
            if name not in self.names:
                raise InputError(
                    f"{what}: there is no column {name!r}; needed are {', '.join(required)}, "
                    f"given are {', '.join(self.names) or 'none'}"
                )
        self._table = table
        self.rows = len(self._raw(required[0]))

    def has(self, name: str) -> bool:
        return name in self.names

    def _raw(self, name: str) -> NDArray[Any]:
        values = np.asarray(self._table[name])
        if values.ndim != 1:
            raise InputError(
                f"{self.what}: column {name!r} has {values.ndim} dimensions; give a plain list"
            )
        return values

    def column(self, name: str) -> NDArray[Any]:
        values = self._raw(name)
        if len(values) != self.rows:
            raise InputError(
                f"{self.what}: column {name!r} has {len(values)} rows, the others "
                f"{self.rows}; all columns must be equally long"
            )
        return values

    def labels(self, name: str, default: str | None = None) -> tuple[tuple[str, ...], Codes]:
        """Names in order of appearance, and the code of each row."""
        if default is not None and not self.has(name):
            return (default,), np.zeros(self.rows, dtype=np.int64)
        names, codes = _encode(self.column(name))
        if default is None and "" in names:
            row = int(np.flatnonzero(codes == names.index(""))[0]) + 1
            raise InputError(
                f"{self.what}: row {row}, column {name!r} is empty; write a name or leave "
                "the row out"
            )
        return names, codes

    def numbers(self, name: str) -> Floats:
        values = self.column(name)
        if values.dtype.kind in "fiub":
            return values.astype(np.float64)
        out = np.empty(len(values))
        for i, value in enumerate(values.tolist()):
            out[i] = _number(value, f"{self.what}: row {i + 1}, column {name!r}")
        return out

    def fail(self, row: int, name: str, message: str) -> InputError:
        return InputError(f"{self.what}: row {row + 1}, column {name!r}: {message}")


def _number(value: object, where: str) -> float:
    if _is_missing(value) or (isinstance(value, str) and not value.strip()):
        return float("nan")
    try:
        return float(cast(Any, value))
    except (TypeError, ValueError):
        raise InputError(f"{where}: {value!r} is not a number; write it like 7.5") from None


def _is_missing(value: object) -> bool:
    """None, NaN and the missing marks of data frames, none of which equals itself plainly."""
    if value is None:
        return True
    if isinstance(value, str):
        return False
    try:
        return bool(value != value)
    except (TypeError, ValueError):
        return True


def label_of(value: object) -> str:
    if _is_missing(value):
        return ""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).strip()


def _encode(values: NDArray[Any]) -> tuple[tuple[str, ...], Codes]:
    """Codes by order of appearance; hashing beats sorting on long text columns."""
    if values.dtype.kind in "iub" and len(values):
        unique, first, inverse = np.unique(values, return_index=True, return_inverse=True)
        order = np.argsort(first)
        rank = np.empty(len(order), dtype=np.int64)
        rank[order] = np.arange(len(order))
        return tuple(str(u) for u in unique[order].tolist()), rank[inverse]
    plain = values.tolist()
    seen = {value: code for code, value in enumerate(dict.fromkeys(plain))}
    raw = np.fromiter(map(seen.__getitem__, plain), dtype=np.int64, count=len(plain))
    labels: dict[str, int] = {}
    merged = np.array([labels.setdefault(label_of(v), len(labels)) for v in seen], dtype=np.int64)
    return tuple(labels), merged[raw] if len(raw) else raw
