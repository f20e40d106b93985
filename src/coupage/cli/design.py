"""``coupage design``: which blends to cup, from flags or a TOML file, without any database.

The file is Coupage's own and small enough to type; flags add to it or stand in its place::

    samples = 7                 # on the table, repeats, reference and keep not counted twice
    repeats = 1                 # of them hidden repeats (0)
    criterion = "everywhere"    # learn how every blend tastes, or "coefficients", "decision"
    order = "quadratic"         # coffees and pairings; "linear", "special cubic", "full cubic"
    step = "5 %"                # shares are multiples of this (5 %)
    keep = "samples.csv"        # blends cupped already: sample, component, proportion
    seed = 0
    ratings = "ratings.csv"     # for "decision": the ratings so far, as for `analyse`,
    cupped = "samples.csv"      # what was in the cups,
    brief = "brief.toml"        # what the recipe is to serve,
    tasters = 3                 # and the next table: tasters (3)
    cups = 1                    # and cups of each sample (1)

    [coffee."Kiruvi washed"]    # one table per coffee that may be in a blend
    least = "20 %"              # optional bounds on its share
    most = "60 %"

    [[together]]                # a limit on several coffees together, as many as needed
    name = "washed"
    coffees = ["Kiruvi washed", "Batu washed"]
    least = "30 %"

    one_of = [["Batu short", "Batu long"]]      # at most one of each set in a blend; on top
    reference = { "Kiruvi washed" = "60 %", "Orvalhal natural" = "40 %" }   # likewise

A share is a fraction (``0.2``) or a text with its sign (``"20 %"``). The CSV that comes out has the
columns of samples.csv, so that it can be cupped, analysed, and kept for the next design.
"""

from __future__ import annotations

import argparse

__all__ = ["EPILOG", "add_arguments", "main"]

EPILOG = """\
plan      TOML: samples = 7, repeats, criterion, order, step, keep, seed, one_of, reference;
          ratings, cupped, brief, tasters, cups for criterion "decision";
          [coffee."NAME"] least = "20 %", most = "60 %"; [[together]] name, coffees, least, most
shares    20% or 0.2; a range is 20%..60%, ..60% or 20%..
examples  coupage design --coffee "Kiruvi washed=20%.." --coffee "Orvalhal natural" --samples 5
          coupage design examples/design.toml --csv > samples.csv
          coupage design --criterion decision --ratings examples/ratings.csv
            --cupped examples/samples.csv --brief examples/brief.toml examples/design.toml
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("plan", nargs="?", help="file of what to plan (TOML); flags go before it")
    parser.add_argument(
        "--coffee",
        action="append",
        metavar="NAME[=LOW..HIGH]",
        help="a coffee that may be in the blends, and bounds on its share; may be repeated",
    )
    parser.add_argument(
        "--together",
        action="append",
        metavar="NAME+NAME=LOW..HIGH",
        help="a limit on several coffees together; may be repeated",
    )
    parser.add_argument(
        "--one-of",
        action="append",
        metavar="NAME+NAME",
        help="at most one of these in a blend, such as approaches to one lot; may be repeated",
    )
    parser.add_argument("--samples", type=int, metavar="N", help="samples on the table, 2 to 24")
    parser.add_argument("--repeats", type=int, metavar="N", help="of them hidden repeats")
    parser.add_argument(
        "--reference", metavar="NAME=SHARE+NAME=SHARE", help="a blend that stands on the table"
    )
    parser.add_argument(
        "--criterion",
        choices=("everywhere", "coefficients", "decision"),
        help="learn how every blend tastes (I-optimal), coffees and pairings (D-optimal), or which "
        "recipe serves a brief",
    )
    parser.add_argument(
        "--order",
        choices=("linear", "quadratic", "special cubic", "full cubic"),
        help="what a blend's taste may depend on (default: quadratic)",
    )
    parser.add_argument("--step", metavar="SHARE", help="shares are multiples of it (default: 5%%)")
    parser.add_argument(
        "--keep",
        metavar="FILE",
        help="blends cupped already, that count and stay (CSV or XLSX: sample, component, "
        "proportion)",
    )
    parser.add_argument("--ratings", metavar="FILE", help="for a decision: the ratings so far")
    parser.add_argument("--cupped", metavar="FILE", help="for a decision: what was in the cups")
    parser.add_argument(
        "--brief", metavar="FILE", help="for a decision: what the recipe is to serve (TOML)"
    )
    parser.add_argument("--tasters", type=int, metavar="N", help="at the next table (default: 3)")
    parser.add_argument("--cups", type=int, metavar="N", help="of each sample (default: 1)")
    parser.add_argument("--seed", type=int, metavar="N", help="fixes the search (default: 0)")
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--csv", action="store_true", help="print the new samples as CSV")
    form.add_argument("--json", action="store_true", help="print data instead of text")


def main(args: argparse.Namespace) -> int:
    from coupage.cli.design_file import wish_of

    wish = wish_of(args)
    # What was typed is checked before the numerical libraries are loaded.
    from coupage.cli.designing import design

    made = design(wish)
    if args.csv:
        import sys

        sys.stdout.write(made.csv())
    elif args.json:
        import json

        print(json.dumps(made.data(), ensure_ascii=False, indent=2))
    else:
        print(made.text(), end="")
    return 0
