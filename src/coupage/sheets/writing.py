"""Write a table as CSV that reads back into the same values."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping

from coupage.errors import InputError
from coupage.sheets.cells import text_of
from coupage.sheets.guard import guard
from coupage.sheets.layout import Layout

__all__ = ["iter_csv", "write_csv"]

_CHUNK = 500


def iter_csv(layout: Layout, rows: Iterable[Mapping[str, object]]) -> Iterator[bytes]:
    """CSV in pieces, for a table that need not be held in memory.

    UTF-8 with a byte order mark, without which some spreadsheets garble every accent.

    Raises
    ------
    InputError
        When a value cannot be written.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    out.write("\ufeff")
    writer.writerow([guard(column.name) for column in layout.columns])
    for count, row in enumerate(rows, start=1):
        cells = [text_of(column, row.get(column.name)) for column in layout.columns]
        writer.writerow(cells)
        if count % _CHUNK == 0:
            yield _encoded(out)
            out.seek(0)
            out.truncate()
    yield _encoded(out)


def _encoded(out: io.StringIO) -> bytes:
    try:
        return out.getvalue().encode()
    except UnicodeEncodeError as error:
        raise InputError(
            f"a text holds half a character pair ({error.reason}); take it out"
        ) from None


def write_csv(layout: Layout, rows: Iterable[Mapping[str, object]]) -> bytes:
    r"""Write a table as CSV.

    Examples
    --------
    >>> from coupage.sheets import Column
    >>> from decimal import Decimal
    >>> lots = Layout("lots", (Column("lot", "text"), Column("share", "share")))
    >>> write_csv(lots, [{"lot": "=Guji", "share": Decimal("0.35")}]).decode("utf-8-sig")
    "lot,share\r\n'=Guji,35%\r\n"
    """
    return b"".join(iter_csv(layout, rows))
