"""Loggers' files: units, clocks, decimal commas, lost readings, and what is refused."""

from __future__ import annotations

import datetime as dt
import io

import numpy as np
import pytest
from openpyxl import Workbook

from coupage.errors import FileError, InputError
from coupage.web.curves import packing
from coupage.web.curves.reading import Guess, guess_columns, read_log, readings_of, signature_of
from tests.web.curves import logs


def read(data: bytes) -> tuple[np.ndarray, np.ndarray]:
    log = read_log(data, "R-118.csv")
    guess = guess_columns(log)
    assert guess is not None
    return readings_of(log, guess)


@pytest.mark.parametrize(
    ("heading", "line"),
    [
        ("seconds,bean temperature", "{t:.0f},{c:.2f}"),
        ("Time (s);Bean temp (°C)", "{t:.0f};{c:.2f}"),
        ("Elapsed [min];other;Bean probe [°C]", "{m:.6f};x;{c:.2f}"),
        ("time\tbean\tair", "{clock}\t{c:.2f}\t300"),
        ("Time (s);Bean temperature (°F)", "{t:.0f};{f:.4f}"),
    ],
)
def test_the_same_roast_is_read_from_every_spelling(heading: str, line: str) -> None:
    """t °F = 1.8 t °C + 32 (NIST SP 811, B.8)."""
    t, c = logs.roast()
    rows = [
        line.format(t=a, c=b, m=a / 60, f=1.8 * b + 32, clock=f"{int(a) // 60}:{int(a) % 60:02d}")
        for a, b in zip(t, c, strict=True)
    ]
    if ";" in heading:
        rows = [row.replace(".", ",") for row in rows]
    seconds, degrees = read("\n".join([heading, *rows]).encode())
    np.testing.assert_allclose(seconds, t, atol=1e-3)
    np.testing.assert_allclose(degrees, c, atol=6e-3)


def test_a_workbook_is_read_with_its_clock() -> None:
    t, c = logs.roast()
    book = Workbook()
    book.active.append(["Time", "Bean temperature"])
    for a, b in zip(t, c, strict=True):
        book.active.append([dt.time(0, int(a) // 60, int(a) % 60), float(b)])
    kept = io.BytesIO()
    book.save(kept)
    seconds, degrees = read(kept.getvalue())
    np.testing.assert_allclose(seconds, t)
    np.testing.assert_allclose(degrees, c, atol=1e-9)


def test_cells_that_are_no_numbers_are_lost_readings() -> None:
    data = logs.csv().decode().splitlines()
    data[100], data[101], data[102] = "99,--", "100,", "101,nan"
    _, degrees = read("\n".join(data).encode())
    assert np.isnan(degrees[99:102]).all()
    assert np.isfinite(np.delete(degrees, [99, 100, 101])).all()


@pytest.mark.parametrize(
    "heading",
    ["zeit,bohne", "seconds,bean temperature,temperature", "seconds,minutes,bean temperature"],
)
def test_headings_that_could_be_either_are_asked_for(heading: str) -> None:
    more = heading.count(",") - 1
    data = logs.csv(heading=heading, line="{t:.0f},{c:.2f}" + ",1" * more)
    assert guess_columns(read_log(data, "x.csv")) is None


def test_a_time_that_could_be_minutes_or_seconds_is_asked_for() -> None:
    data = "time,bean\n" + "\n".join(f"{i},{100 + i}" for i in range(100))
    assert guess_columns(read_log(data.encode(), "x.csv")) is None


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("{t:.0f},{f:.1f}", "which no roast ends at"),
        ("{ms:.0f},{c:.1f}", "is the time in another unit"),
        ("{t:.0f},x", "holds no temperatures"),
        ("x,{c:.1f}", "holds no times"),
    ],
)
def test_what_cannot_be_a_roast_is_refused_with_the_remedy(line: str, said: str) -> None:
    t, c = logs.roast()
    rows = [line.format(t=a, c=b, f=1.8 * b + 32, ms=1000 * a) for a, b in zip(t, c, strict=True)]
    log = read_log("\n".join(["seconds,bean temperature", *rows]).encode(), "x.csv")
    with pytest.raises(InputError, match=said):
        readings_of(log, Guess("seconds", "s", "bean temperature", fahrenheit=False))


@pytest.mark.parametrize("data", [b"", b"seconds,bean temperature\n", b"%PDF-1.7", b"\x89PNG\r\n"])
def test_what_is_no_table_is_a_file_error(data: bytes) -> None:
    with pytest.raises(FileError):
        read_log(data, "x.csv")


def test_capitals_and_spaces_make_no_new_logger() -> None:
    assert signature_of(["Time ", "Bean  Temp"]) == signature_of(["time", "bean temp"])
    assert signature_of(["a b", "c"]) != signature_of(["a", "b c"])


def test_packing_keeps_hundredths_and_is_small() -> None:
    t, c = logs.roast()
    packed = packing.pack(t, c)
    seconds, degrees = packing.unpack(packed)
    np.testing.assert_allclose(seconds, t, atol=0.005)
    np.testing.assert_allclose(degrees, c, atol=0.005)
    assert len(packed) < 3_000
