"""CSV files as they come: any usual encoding, delimiter and line end.

References
----------
.. [1] RFC 4180, section 2 (quoting, line breaks inside quotes).
.. [2] The Unicode Standard 16.0, section 23.8 (byte order mark).
"""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Callable, Iterator

from coupage.errors import FileError, FileProblem

__all__ = ["decode", "records"]

_DELIMITERS = (",", ";", "\t")
_MAGIC = (
    (b"\xd0\xcf\x11\xe0", "is an old Excel file (.xls); save it as .xlsx or CSV"),
    (b"%PDF", "is a PDF; save the table as .xlsx or CSV"),
    (b"\x89PNG", "is a picture; give a table as .xlsx or CSV"),
    (b"\xff\xd8\xff", "is a picture; give a table as .xlsx or CSV"),
    (b"\x1f\x8b", "is compressed; unpack it first"),
    (b"SQLite format 3", "is a database, not a table; export the table as CSV"),
    (b"<?xml", "is XML; save the table as .xlsx or CSV"),
    (b"<html", "is a web page; save the table as .xlsx or CSV"),
    (b"<!DOCTYPE", "is a web page; save the table as .xlsx or CSV"),
)


def decode(data: bytes, filename: str) -> str:
    """Turn bytes into text: byte order mark, else UTF-16 by its zero bytes, UTF-8, Windows-1252.

    Raises
    ------
    FileError
        When the bytes are no text.
    """
    for magic, what in _MAGIC:
        if data.startswith(magic):
            raise FileError(filename, [FileProblem(0, "", what)])
    for encoding in _candidates(data):
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        return text.removeprefix("\ufeff")
    raise FileError(
        filename,
        [FileProblem(0, "", "is not text in UTF-8, UTF-16 or Windows-1252; save it as CSV UTF-8")],
    )


def _candidates(data: bytes) -> tuple[str, ...]:
    if data.startswith(codecs.BOM_UTF8):
        return ("utf-8",)
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return ("utf-16",)
    # Headings are mostly Latin letters, whose UTF-16 has a zero in every second byte.
    head = data[:400]
    if len(head) >= 4 and len(data) % 2 == 0:
        even, odd = head[0::2].count(0), head[1::2].count(0)
        if odd > len(head) // 4 and even == 0:
            return ("utf-16-le",)
        if even > len(head) // 4 and odd == 0:
            return ("utf-16-be",)
    return ("utf-8", "cp1252")


def records(
    data: bytes, filename: str, known: Callable[[str], bool]
) -> Iterator[tuple[int, list[str]]]:
    """Every record with its row number, as a spreadsheet would count it.

    ``known`` says whether a cell is a heading of the layout; the delimiter under which most
    headings are known is the file's.

    Raises
    ------
    FileError
        When the bytes are no text, or a quote is never closed.
    """
    text = decode(data, filename)
    nul = text.find("\0")
    if nul >= 0:
        row = text.count("\n", 0, nul) + 1
        raise FileError(
            filename,
            [FileProblem(row, "", "holds a NUL byte; export the table again as CSV UTF-8")],
        )
    first = 0
    delimiter = None
    if text[:4].lower() == "sep=" and text[4:5] in _DELIMITERS:
        # A line that some spreadsheets write for themselves; they do not show it as a row either.
        delimiter = text[4]
        text = text[5:].lstrip("\r").removeprefix("\n")
    delimiter = delimiter or _delimiter(text, known)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    row = first
    while True:
        row += 1
        try:
            record = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise FileError(filename, [FileProblem(row, "", _quoting(str(error)))]) from None
        yield row, record


def _quoting(error: str) -> str:
    if "field larger" in error:
        return "holds a cell of over 131,072 characters; is a closing quote missing?"
    return 'has a quote never closed, or text behind a closing quote; write " inside a cell as ""'


def _delimiter(text: str, known: Callable[[str], bool]) -> str:
    best, found = (-1, -1), ","
    head = text.lstrip("\r\n")[:100_000]
    for delimiter in _DELIMITERS:
        reader = csv.reader(io.StringIO(head, newline=""), delimiter=delimiter)
        try:
            cells = next((record for record in reader if any(record)), [])
        except csv.Error:
            continue
        score = (sum(known(cell) for cell in cells), len(cells))
        if score > best:
            best, found = score, delimiter
    return found
