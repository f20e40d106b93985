"""``coupage import``: a table from a file into the database, whole or not at all."""

from __future__ import annotations

import argparse
import sys

__all__ = ["EPILOG", "add_arguments", "main"]

EPILOG = """\
The file may be CSV (any usual encoding, comma, semicolon or tab, decimal commas) or XLSX. When
anything in it is wrong, every problem is listed with its row, column and remedy, and nothing is
written. coupage import --list names the tables and their columns.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("table", nargs="?", help="which table: lots, say")
    parser.add_argument("file", nargs="?", help="CSV or XLSX file")
    parser.add_argument(
        "--dry-run", action="store_true", help="say what would be done, and write nothing"
    )
    parser.add_argument(
        "--as",
        dest="sign_in",
        metavar="SIGN-IN",
        help="who does it, for the history (default: the owner, if there is one only)",
    )
    parser.add_argument("--list", action="store_true", help="name the tables and their columns")


def main(args: argparse.Namespace) -> int:
    from pathlib import Path

    from coupage.cli.files import read_bytes
    from coupage.cli.installation import open_installation
    from coupage.errors import FileError, InputError

    if args.list:
        open_installation()
        _list()
        return 0
    if args.file is None:
        raise InputError("needs a table and a file; see --help, or --list for the tables")
    data, filename = read_bytes(args.file), Path(args.file).name
    open_installation()
    try:
        return _take(args, data, filename)
    except FileError as error:
        for problem in error.problems:
            print(f"{error.name}: {problem}", file=sys.stderr)
        print(f"{filename}: nothing was written", file=sys.stderr)
        return 2


def _take(args: argparse.Namespace, data: bytes, filename: str) -> int:
    from django.db import IntegrityError, transaction
    from django.utils import timezone

    from coupage.cli.exchanges import acting, chosen, doors, in_house_time
    from coupage.errors import FileError, InputError
    from coupage.sheets import read_table

    takes = {name: door.exchange for name, door in doors().items() if door.exchange is not None}
    exchange = chosen(args.table, takes)
    in_house_time()
    try:
        # One transaction: nobody changes anything between the plan and its doing.
        with transaction.atomic():
            if exchange.read is not None:
                table = exchange.read(data, filename)
            else:
                table = read_table(data, filename, exchange.layout())
            plan = exchange.plan(table)
            if plan.problems:
                raise FileError(filename, plan.problems)
            for sentence in (*table.notes, *plan.summary):
                print(sentence)
            if args.dry_run:
                print("Nothing was written; leave --dry-run out to do it.")
                return 0
            said = exchange.apply(table, by=acting(args.sign_in), at=timezone.now())
    except IntegrityError as error:
        raise InputError(f"{filename}: nothing was written: {error}") from None
    print(said)
    return 0


def _list() -> None:
    from coupage.cli.exchanges import doors

    for door in doors().values():
        if door.exchange is None:
            continue
        layout = door.layout()
        print(f"{door.name}: {layout.description}")
        for column in layout.columns:
            unit = f", {column.unit}" if column.unit else ""
            needed = "" if column.required else ", may be empty"
            print(f"  {column.name} ({column.kind}{unit}{needed})  {column.help}".rstrip())
