"""``coupage run``: bring the database up to date and serve the program on this machine.

With ``--lan`` the local network is served too; from there tables are joined by a code, and that is
all: see :mod:`coupage.cli.lan`.
"""

from __future__ import annotations

import argparse
import errno
import os
import socket
import sys

__all__ = ["add_arguments", "main"]

DEFAULT_PORT = 8177


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--port",
        type=int,
        default=None,
        help="port to serve on (default: COUPAGE_PORT, or the first free one from "
        f"{DEFAULT_PORT} on)",
    )
    parser.add_argument(
        "--demo", action="store_true", help="load the demo roastery when there is no data yet"
    )
    parser.add_argument(
        "--lan",
        action="store_true",
        help="serve the local network too, so that phones can join a table by its code; the line "
        "is not encrypted, and signing in works on this machine only",
    )


def main(args: argparse.Namespace) -> int:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "coupage.web.settings")
    port = _port(args.port)
    if port is None:
        return 2
    if args.lan:
        from coupage.cli.lan import open_to_lan

        if not open_to_lan(port):
            return 2

    import django

    django.setup()
    _migrate()
    if args.demo:
        _load_demo_once()
    _greet(port, lan=args.lan)
    _serve(port, lan=args.lan)
    return 0


def _port(asked: int | None) -> int | None:
    """Return a port that is free, or say why there is none."""
    named = asked if asked is not None else os.environ.get("COUPAGE_PORT")
    if named is None:
        return next(port for port in range(DEFAULT_PORT, 65_535) if _free(port))
    try:
        port = int(named)
    except ValueError:
        port = -1
    if not 1 <= port <= 65_535:
        print(f"coupage run: port {named!r} must be a number from 1 to 65535", file=sys.stderr)
        return None
    if not _free(port):
        print(
            f"coupage run: port {port} is taken by another program; "
            "stop that one, or name another with --port",
            file=sys.stderr,
        )
        return None
    return port


def _free(port: int) -> bool:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError as problem:
            if problem.errno in {errno.EADDRINUSE, errno.EACCES}:
                return False
            raise
    return True


def _migrate() -> None:
    """Bring the database up to date; when it is already, this costs one query."""
    from django.core.management import call_command
    from django.db import connection
    from django.db.migrations.executor import MigrationExecutor

    executor = MigrationExecutor(connection)
    if executor.migration_plan(executor.loader.graph.leaf_nodes()):
        print("Bringing the database up to date ...", flush=True)
        call_command("migrate", verbosity=0, interactive=False)


def _load_demo_once() -> None:
    from django.utils import timezone

    from coupage.web.demo.load import load_demo
    from coupage.web.people import queries

    if queries.is_new():
        print("Loading the demo roastery ...", flush=True)
        load_demo(today=timezone.localdate())


def _greet(port: int, *, lan: bool) -> None:
    from django.conf import settings

    from coupage.web.demo.scenario import DEMO_PASSWORD, SCENARIO
    from coupage.web.people import queries
    from coupage.web.places import data_folder

    print(f"\n  Coupage is at   http://127.0.0.1:{port}/")
    if queries.roastery().is_demo:
        roles = {person.role: person.sign_in for person in SCENARIO.people}
        named = ", ".join(f"{sign_in} ({role})" for role, sign_in in roles.items())
        print(f"  Demo sign-in    {named}\n  with password   {DEMO_PASSWORD}")
    print(f"  Data are in     {data_folder()}")
    if lan:
        from coupage.cli.lan import warn

        print(f"  Phones join at  {settings.LAN_URL}/join/\n\n{warn()}")
    print("  Stop it with    Ctrl+C\n", flush=True)


def _serve(port: int, *, lan: bool) -> None:
    from granian import Granian
    from granian.constants import Interfaces
    from granian.log import LogLevels

    Granian(
        "coupage.web.wsgi:application",
        address="0.0.0.0" if lan else "127.0.0.1",  # noqa: S104  asked for, and said to be open
        port=port,
        interface=Interfaces.WSGI,
        workers=min(2, os.cpu_count() or 1),
        blocking_threads=4,
        log_level=LogLevels.warning,
        respawn_failed_workers=True,
    ).serve()
