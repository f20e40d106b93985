"""``coupage demo``: the demo roastery, to look around in and to learn with."""

from __future__ import annotations

import argparse

__all__ = ["add_arguments", "main"]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--refresh",
        action="store_true",
        help="load it anew; everything that was added to the demo goes. A roastery that is no "
        "demo is never touched",
    )


def main(args: argparse.Namespace) -> int:
    from coupage.cli.installation import open_installation

    open_installation(may_be_new=True)

    from django.utils import timezone

    from coupage.web.demo.load import load_demo
    from coupage.web.demo.scenario import DEMO_PASSWORD
    from coupage.web.people.models import Person, Roastery, Role

    there = Roastery.objects.filter(is_demo=True).exists()
    if not there or args.refresh:
        load_demo(today=timezone.localdate(), replace=args.refresh)
        print("The demo roastery is loaded.")
    else:
        print("The demo roastery was loaded before; --refresh loads it anew.")
    owner = Person.objects.filter(role=Role.OWNER, is_active=True).order_by("id").first()
    if owner is not None:
        print(f"Sign in as {owner.sign_in} with the password {DEMO_PASSWORD}; start: coupage run")
    return 0
