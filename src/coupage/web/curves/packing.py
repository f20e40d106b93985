"""Readings as bytes: seconds in hundredths, temperatures in hundredths of a degree, compressed."""

from __future__ import annotations

import hashlib
import zlib

import numpy as np
from numpy.typing import NDArray

__all__ = ["digest", "pack", "unpack"]

Floats = NDArray[np.float64]


def pack(seconds: Floats, degrees: Floats) -> bytes:
    """Pack a curve; differences of whole hundredths compress well.

    Examples
    --------
    >>> t, c = unpack(pack(np.array([0.0, 1.5, 3.0]), np.array([98.25, 97.0, np.nan])))
    >>> t.tolist(), c[:2].tolist(), bool(np.isnan(c[2]))
    ([0.0, 1.5, 3.0], [98.25, 97.0], True)
    """
    none = np.iinfo(np.int32).min
    times = np.round(seconds * 100).astype("<i4")
    temperatures = np.where(np.isfinite(degrees), np.round(degrees * 100), none).astype("<i4")
    return zlib.compress(times.tobytes() + temperatures.tobytes(), 6)


def unpack(data: bytes) -> tuple[Floats, Floats]:
    """Give seconds and temperatures back; readings that were none are NaN."""
    both = np.frombuffer(zlib.decompress(data), dtype="<i4").reshape(2, -1).astype(float)
    both[1][both[1] == np.iinfo(np.int32).min] = np.nan
    return both[0] / 100, both[1] / 100


def digest(data: bytes) -> str:
    """Return what two equal curves have in common."""
    return hashlib.sha256(data).hexdigest()
