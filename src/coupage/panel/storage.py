"""Arrays and plain facts to bytes and back, without pickle: safe to load from a database."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coupage.errors import InputError

__all__ = ["pack", "unpack"]

Arrays = dict[str, NDArray[Any]]


def pack(facts: Mapping[str, Any], arrays: Arrays) -> bytes:
    """One npz archive of the arrays and, as text in it, the facts."""
    kept: Arrays = {}
    first: dict[bytes, str] = {}
    same: dict[str, str] = {}
    for name, array in arrays.items():
        # Attributes rated on the same cups share their design: keep it once.
        value = np.ascontiguousarray(array)
        key = hashlib.sha256(f"{value.dtype}{value.shape}".encode() + value.tobytes()).digest()
        if key in first:
            same[name] = first[key]
        else:
            first[key] = name
            kept[name] = value
    text = json.dumps({"facts": facts, "same": same}).encode()
    buffer = io.BytesIO()
    np.savez_compressed(
        buffer, allow_pickle=False, facts=np.frombuffer(text, dtype=np.uint8), **kept
    )
    return buffer.getvalue()


def unpack(data: bytes) -> tuple[dict[str, Any], Arrays]:
    """Reverse :func:`pack`.

    Raises
    ------
    InputError
        When the bytes are not what :func:`pack` wrote.
    """
    try:
        with np.load(io.BytesIO(data), allow_pickle=False) as archive:
            arrays = {name: archive[name] for name in archive.files}
        text = json.loads(arrays.pop("facts").tobytes())
        facts: dict[str, Any] = text["facts"]
        arrays |= {name: arrays[first] for name, first in text["same"].items()}
    except (ValueError, KeyError, OSError, EOFError, zipfile.BadZipFile) as error:
        raise InputError(
            "data: these bytes are not stored beliefs; fit the ratings again"
        ) from error
    return facts, arrays
