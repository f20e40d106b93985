"""The real program, started as a person starts it: own data folder, free port, demo loaded."""

from __future__ import annotations

import os
import re
import secrets
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

PATIENCE_S = 60


@dataclass(frozen=True)
class Program:
    """Where the program is served, and how to sign in."""

    url: str
    password: str


@contextmanager
def running(folder: Path, database: str = "") -> Iterator[Program]:
    """Run ``coupage run --demo`` until the block ends.

    ``database`` is the URL of a PostgreSQL database beside which a throw-away one is made; empty
    means SQLite.
    """
    environment = {**os.environ, "COUPAGE_DATA": str(folder)}
    for name in ("COUPAGE_DATABASE", "COUPAGE_PORT", "DJANGO_SETTINGS_MODULE"):
        environment.pop(name, None)
    with _database(database) as own:
        if own:
            environment["COUPAGE_DATABASE"] = own
        log = folder / "program.log"
        with log.open("w") as output:
            process = subprocess.Popen(
                [sys.executable, "-m", "coupage", "run", "--demo"],
                env=environment,
                stdout=output,
                stderr=subprocess.STDOUT,
            )
        try:
            yield _wait(process, log)
        finally:
            process.send_signal(signal.SIGINT)
            try:
                process.wait(20)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


def _wait(process: subprocess.Popen[bytes], log: Path) -> Program:
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until and process.poll() is None:
        said = log.read_text()
        url = re.search(r"Coupage is at\s+(http://\S+)/\n", said)
        password = re.search(r"with password\s+(\S+)", said)
        if url and password and _answers(f"{url[1]}/people/sign-in/"):
            return Program(url[1], password[1])
        time.sleep(0.1)
    raise AssertionError(f"the program did not start:\n{log.read_text()}")


def _answers(url: str) -> bool:
    try:
        with urllib.request.urlopen(url, timeout=2) as answer:
            return bool(answer.status == 200)
    except OSError:
        return False


@contextmanager
def _database(beside: str) -> Iterator[str]:
    if not beside:
        yield ""
        return
    import psycopg

    name = f"coupage_browser_{secrets.token_hex(4)}"
    with psycopg.connect(beside, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
        try:
            yield urlunsplit(urlsplit(beside)._replace(path=f"/{name}"))
        finally:
            connection.execute(f"DROP DATABASE {name} WITH (FORCE)")
