"""Files as loggers write them, made for tests."""

from __future__ import annotations

import numpy as np
from django.core.files.uploadedfile import SimpleUploadedFile

from coupage.web.batches.models import Batch
from coupage.web.curves import packing
from coupage.web.curves.models import RoastCurve
from tests.web import things

Floats = np.ndarray


def roast(length: int = 600, shift: float = 0.0, step: float = 1.0) -> tuple[Floats, Floats]:
    """A smooth roast: a fall from charge to about a minute, then up to 215 °C at 600 s."""
    t = np.arange(0, length + 1, step)
    return t, 80 + 135 * (t / 600) ** 0.75 + 110 * np.exp(-t / 28) + shift


def csv(
    length: int = 600,
    shift: float = 0.0,
    heading: str = "seconds,bean temperature",
    line: str = "{t:.0f},{c:.2f}",
) -> bytes:
    t, c = roast(length, shift)
    rows = (line.format(t=a, c=b) for a, b in zip(t, c, strict=True))
    return "\n".join([heading, *rows]).encode()


def file(name: str, data: bytes) -> SimpleUploadedFile:
    return SimpleUploadedFile(name, data, content_type="text/csv")


def stored(batch: Batch, shift: float = 0.0, length: int = 600, **more: object) -> RoastCurve:
    """A curve in the database, past its import."""
    t, c = roast(length, shift)
    packed = packing.pack(t, c)
    values = {
        "readings": packed,
        "digest": packing.digest(packed),
        "filename": f"{batch.number}.csv",
        "count": t.size,
        "duration_s": length,
        "drop_c": "215.0",
        "taken_in_at": things.NOW,
    }
    return RoastCurve.objects.create(batch=batch, **(values | more))
