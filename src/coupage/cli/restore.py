"""``coupage restore``: put the data of a backup in place."""

from __future__ import annotations

import argparse
import sys

__all__ = ["EPILOG", "add_arguments", "main"]

EPILOG = """\
The backup is checked before anything is touched. What is in the database now is written to a
backup of its own in the data folder first, so that a restore can be undone.
"""
_TOLD = (
    ("coffees_lot", "lots"),
    ("batches_batch", "batches"),
    ("cuppings_cupping", "cuppings"),
    ("cuppings_rating", "ratings"),
    ("people_person", "people"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", help="a file that coupage backup wrote")
    parser.add_argument("--yes", action="store_true", help="do not ask")
    parser.add_argument(
        "--check", action="store_true", help="only check the backup and say what it holds"
    )


def main(args: argparse.Namespace) -> int:
    from pathlib import Path

    from coupage.cli.installation import open_installation, set_up
    from coupage.errors import InputError

    place = Path(args.file)
    if not place.is_file():
        raise InputError(f"{place}: there is no such file; check the name and the folder")
    set_up()

    from coupage.cli.copies import holds_data, opened, put_in_place

    with opened(place) as (manifest, database):
        held = ", ".join(f"{manifest.rows.get(table, 0):,} {word}" for table, word in _TOLD)
        print(f"{place}: made {manifest.made_at} by Coupage {manifest.version}; {held}")
        if args.check:
            print("The backup is whole and fits this version.")
            return 0
        if not args.yes and not _agreed():
            print("Nothing was changed.")
            return 1
        open_installation(may_be_new=True)
        kept = _keep_present() if holds_data() else None
        put_in_place(database)
    print("Restored." + (f" What was there before is in {kept}" if kept else ""))
    return 0


def _agreed() -> bool:
    from coupage.errors import InputError

    if not sys.stdin.isatty():
        raise InputError("nobody is there to ask; add --yes to replace all data of this database")
    answer = input("All data of this database will be replaced. Type yes to go on: ")
    return answer.strip().lower() == "yes"


def _keep_present() -> str:
    from django.utils import timezone

    from coupage.cli.copies import write_backup
    from coupage.web.places import data_folder

    now = timezone.now()
    # Microseconds: two restores in one second must not overwrite the first one's way back.
    place = data_folder() / f"before-restore-{now:%Y%m%d-%H%M%S-%f}.backup"
    write_backup(place, made_at=now.isoformat(timespec="seconds"))
    return str(place)
