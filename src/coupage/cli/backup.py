"""``coupage backup``: all data in one file."""

from __future__ import annotations

import argparse

__all__ = ["EPILOG", "add_arguments", "main"]

EPILOG = """\
The file holds a checked copy of the database, password hashes included: keep it where only
you can read it. It is safe to make while the program runs. coupage restore puts it back.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", help="where to write it")
    parser.add_argument("--replace", action="store_true", help="replace the file if it is there")


def main(args: argparse.Namespace) -> int:
    from pathlib import Path

    from coupage.cli.installation import open_installation
    from coupage.errors import InputError

    place = Path(args.file)
    if place.exists() and not args.replace:
        raise InputError(f"{place}: is there already; name another file, or add --replace")
    if not place.absolute().parent.is_dir():
        raise InputError(f"{place}: its folder is not there; make it first")
    open_installation()

    from django.utils import timezone

    from coupage.cli.copies import write_backup

    made = write_backup(place.absolute(), made_at=timezone.now().isoformat(timespec="seconds"))
    rows = sum(made.rows.values())
    print(f"{place}: {rows:,} rows of {len(made.rows)} tables, {place.stat().st_size / 1e6:.1f} MB")
    return 0
