"""``coupage export``: a table of the database as a file."""

from __future__ import annotations

import argparse

__all__ = ["EPILOG", "add_arguments", "main"]

EPILOG = """\
The ending of the file decides: .csv or .xlsx. Texts that a spreadsheet would run as formulas are
guarded; coupage import undoes that. coupage export --list names the tables.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("table", nargs="?", help="which table: lots, say")
    parser.add_argument("file", nargs="?", help="where to write it: NAME.csv or NAME.xlsx")
    parser.add_argument("--replace", action="store_true", help="replace the file if it is there")
    parser.add_argument("--list", action="store_true", help="name the tables and what they hold")


def main(args: argparse.Namespace) -> int:
    from pathlib import PurePath

    from coupage.cli.installation import open_installation
    from coupage.errors import InputError

    if args.list:
        from coupage.cli.exchanges import doors

        open_installation()
        for door in doors().values():
            print(f"{door.name}: {door.layout().description}")
        return 0
    if args.file is None:
        raise InputError("needs a table and a file; see --help, or --list for the tables")
    ending = PurePath(args.file).suffix.lower()
    if ending not in (".csv", ".xlsx"):
        raise InputError(f"{args.file}: must end in .csv or .xlsx")
    open_installation()
    count = _give(args, ending)
    print(f"{args.file}: {count:,} rows")
    return 0


def _give(args: argparse.Namespace, ending: str) -> int:
    from coupage.cli.exchanges import chosen, doors, in_house_time
    from coupage.cli.files import write_bytes
    from coupage.sheets import write_csv, write_xlsx

    door = chosen(args.table, doors())
    in_house_time()
    rows = list(door.rows())
    write = write_csv if ending == ".csv" else write_xlsx
    write_bytes(args.file, write(door.layout(), rows), replace=args.replace)
    return len(rows)
