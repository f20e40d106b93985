"""``coupage analyse``: what the ratings in a file mean, without any database."""

from __future__ import annotations

import argparse
import sys

__all__ = ["EPILOG", "add_arguments", "main"]

EPILOG = """\
ratings   CSV or XLSX: cupping, taster, sample, attribute, rating (0 to 10), optional cup and
          pass; or wide, with one column per attribute instead of attribute and rating
samples   CSV or XLSX: sample, component (the coffee), proportion (60 %, 60 or 0.6), optional
          batch, age_days, lot; a straight coffee is one row of 100 %
brief     TOML: [want.ATTRIBUTE] at_least = 6, at_most, between or close_to, must = true, ...;
          [coffee."NAME"] green_price, loss, stock_kg, least, most; see examples/brief.toml
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("ratings", nargs="?", help="file of ratings")
    parser.add_argument("samples", nargs="?", help="file of what each sample is made of")
    parser.add_argument("--brief", metavar="FILE", help="what the blend must taste like (TOML)")
    parser.add_argument("--json", action="store_true", help="print data instead of text")
    parser.add_argument("--schema", action="store_true", help="print the JSON Schema of --json")
    parser.add_argument(
        "--tolerance",
        action="append",
        metavar="[ATTRIBUTE=]POINTS",
        help="difference that is called the same, for all attributes or for one; may be repeated "
        "(default: 1)",
    )
    parser.add_argument(
        "--reference", metavar="SAMPLE", help="compare every other sample with this one"
    )
    parser.add_argument(
        "--age",
        type=float,
        default=7.0,
        metavar="DAYS",
        help="days after roasting that profiles are for (default: 7)",
    )
    parser.add_argument(
        "--top", type=int, default=5, metavar="N", help="how many recipes to list (default: 5)"
    )
    parser.add_argument(
        "--seed", type=int, default=0, metavar="N", help="fixes every random draw (default: 0)"
    )
    parser.add_argument(
        "--every-problem",
        action="store_true",
        help="list every problem of a wrong file, one a line, instead of the first",
    )


def main(args: argparse.Namespace) -> int:
    if args.schema:
        from importlib.resources import files

        print(files("coupage.cli").joinpath("analysis.schema.json").read_text("utf-8"), end="")
        return 0
    from coupage.errors import FileError, InputError

    if args.samples is None:
        raise InputError("needs two files, the ratings and the samples; see --help")
    try:
        return _analyse(args)
    except FileError as error:
        if not args.every_problem:
            raise
        for problem in error.problems:
            print(f"{error.name}: {problem}", file=sys.stderr)
        return 2


def _analyse(args: argparse.Namespace) -> int:
    from pathlib import Path

    from coupage.cli.files import read_bytes
    from coupage.cli.tables import read_tables
    from coupage.errors import InputError

    tolerance = _tolerance(args.tolerance or [])
    for name, value, low in (("--seed", args.seed, 0), ("--top", args.top, 1)):
        if value < low:
            raise InputError(f"{name}: {value} must be {low} or more")
    if not 0 <= args.age < 1000:
        raise InputError(f"--age: {args.age:g} must be days from 0 on")
    # The files are checked before the numerical libraries are loaded: a wrong file answers fast.
    tables = read_tables(args.ratings, args.samples)
    brief = None
    if args.brief is not None:
        from coupage.cli.briefs import read_brief

        brief = read_brief(read_bytes(args.brief), Path(args.brief).name)
    from coupage.cli.analysis import analyse

    analysis = analyse(
        tables,
        brief,
        tolerance=tolerance,
        reference=args.reference,
        age_days=args.age,
        seed=args.seed,
        top=args.top,
    )
    if args.json:
        import json

        from coupage.cli.data import as_data

        print(json.dumps(as_data(analysis), ensure_ascii=False, indent=2))
    else:
        from coupage.cli.report import report

        print(report(analysis), end="")
    return 0


def _tolerance(words: list[str]) -> dict[str, float]:
    from coupage.errors import InputError
    from coupage.units import parse_number

    found = {}
    for word in words:
        name, _, text = word.rpartition("=")
        points = float(parse_number(text, "--tolerance"))
        if not 0 < points <= 10:
            raise InputError(f"--tolerance: {text} must be points above 0, at most 10")
        found[name.strip()] = points
    return found
