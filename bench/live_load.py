"""How fast is a rating saved while thirty phones save one a second, and does any of them fail?

The real program is started as a person starts it, on a database of its own, and driven from this
machine: the load generator shares the cores with the server, as a browser on the host's laptop
would. Each taster joins by the code, then sends a rating every second and asks for the pulse every
four, over one kept-alive connection. Nothing goes beyond this machine's loopback.

``COUPAGE_LIVE_SECONDS`` sets how long (60), ``COUPAGE_TEST_POSTGRES`` names a PostgreSQL database
beside which a throw-away one is made; without it only SQLite is measured.
"""

from __future__ import annotations

import http.client
import json
import os
import re
import secrets
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlencode, urlsplit, urlunsplit

import numpy as np

TITLE = "The live table: thirty phones, a rating a second each"

TASTERS = 30
SECONDS = int(os.environ.get("COUPAGE_LIVE_SECONDS", "60"))
PULSE_EVERY = 4


@dataclass
class Seen:
    """What the phones saw, in milliseconds, and what went wrong."""

    saves: list[float] = field(default_factory=list)
    pulses: list[float] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)


def run() -> str:
    rows = [_measure("SQLite", "")]
    beside = os.environ.get("COUPAGE_TEST_POSTGRES", "")
    if beside:
        with _throw_away(beside) as url:
            rows.append(_measure("PostgreSQL", url))
    head = (
        f"{TASTERS} tasters, one rating a second each and a pulse every {PULSE_EVERY} s, for "
        f"{SECONDS} s, against `coupage run` as it starts by default (2 workers of 4 threads) with "
        "the demo in it. The load generator ran on the same cores; times are whole requests as a "
        "phone would wait for them. Other work may have shared the machine: the load average tells "
        "how much, 2 being both cores busy; the server's processor time depends on it far less."
    )
    table = (
        "| database | saves | p50, ms | p95, ms | p99, ms | worst, ms | pulses p95, ms | errors | "
        "ratings lost or doubled | server, ms of processor a save | load average |\n"
        "| --- | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: |\n"
    )
    return f"{head}\n\n{table}" + "\n".join(rows)


def _measure(name: str, database: str) -> str:
    with tempfile.TemporaryDirectory() as folder, _program(Path(folder), database) as (url, group):
        letters = _code(url)
        seen, sheets = Seen(), [_join(url, letters, n) for n in range(TASTERS)]
        began = time.perf_counter() + 0.5
        threads = [
            threading.Thread(target=_taste, args=(url, sheet, n, began, seen))
            for n, sheet in enumerate(sheets)
        ]
        before = _processor_ms(group)
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        spent = _processor_ms(group) - before
        wrong = sum(_wrong(url, sheet, n) for n, sheet in enumerate(sheets))
    for error in sorted(set(seen.errors))[:5]:
        print("   ", error)
    saves, pulses = np.array(seen.saves), np.array(seen.pulses)
    at = [f"{value:.1f}" for value in np.percentile(saves, [50, 95, 99, 100])]
    pulse = f"{np.percentile(pulses, 95):.1f}"
    load = f"{os.getloadavg()[0]:.1f}"
    return (
        f"| {name} | {len(saves)} | {' | '.join(at)} | {pulse} | {len(seen.errors)} | {wrong} "
        f"| {spent / len(saves):.1f} | {load} |"
    )


@contextmanager
def _program(folder: Path, database: str) -> Iterator[tuple[str, int]]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("COUPAGE_", "DJANGO_"))}
    kept |= {"COUPAGE_DATA": str(folder), "COUPAGE_PORT": str(port)}
    if database:
        kept["COUPAGE_DATABASE"] = database
    with (folder / "log").open("w") as log:
        process = subprocess.Popen(
            [sys.executable, "-m", "coupage", "run", "--demo"],
            env=kept,
            stdout=log,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )
    try:
        _wait(f"http://127.0.0.1:{port}/join/", folder / "log")
        yield f"http://127.0.0.1:{port}", process.pid
    finally:
        process.send_signal(signal.SIGINT)
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            process.kill()


def _processor_ms(group: int) -> float:
    """Return the processor time of a group of processes so far; Linux tells it, others do not."""
    ticks = 0
    for place in Path("/proc").glob("[0-9]*/stat"):
        try:
            words = place.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(words[2]) == group:
            ticks += int(words[11]) + int(words[12])
    return 1000 * ticks / os.sysconf("SC_CLK_TCK")


def _wait(url: str, log: Path) -> None:
    until = time.monotonic() + 180
    while time.monotonic() < until:
        try:
            with urllib.request.urlopen(url, timeout=2):
                return
        except OSError:
            time.sleep(0.1)
    raise RuntimeError(log.read_text())


def _code(url: str) -> str:
    """Sign in as the demo's host and read the code off the host's screen of the open table."""
    opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
    page = opener.open(f"{url}/people/sign-in/").read().decode()
    form = {
        "csrfmiddlewaretoken": _found(r'name="csrfmiddlewaretoken" value="([^"]+)"', page),
        "username": "idris",
        "password": "warm-bowl-and-spoon",
    }
    opener.open(f"{url}/people/sign-in/", urlencode(form).encode())
    page = opener.open(f"{url}/cuppings/?state=open").read().decode()
    table = _found(r'<th scope="row"><a href="(/cuppings/\d+/)"', page)
    page = opener.open(f"{url}{table}live/").read().decode()
    return _found(r'class="join-letters"[^>]*>([A-Z-]+)<', page).replace("-", "")


def _found(pattern: str, text: str) -> str:
    match = re.search(pattern, text)
    if match is None:
        raise RuntimeError(f"{pattern} is not on the page")
    return match[1]


def _join(url: str, letters: str, n: int) -> dict[str, object]:
    """Join as a phone does, and return the data of the sheet."""
    opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
    page = opener.open(f"{url}/join/{letters}/").read().decode()
    form = {
        "csrfmiddlewaretoken": _found(r'name="csrfmiddlewaretoken" value="([^"]+)"', page),
        "name": f"Taster {n}",
    }
    page = opener.open(f"{url}/join/{letters}/", urlencode(form).encode()).read().decode()
    sheet: dict[str, object] = json.loads(
        _found(r'<script id="sheet-data" type="application/json">(.*?)</script>', page)
    )
    return sheet


def _taste(url: str, sheet: dict, n: int, began: float, seen: Seen) -> None:  # type: ignore[type-arg]
    """One phone: a rating every second, spread over the second by its number."""
    line = http.client.HTTPConnection(urlsplit(url).netloc, timeout=30)
    device = f"{n:08x}"
    for second in range(SECONDS):
        due = began + second + n / TASTERS
        time.sleep(max(0.0, due - time.perf_counter()))
        body = json.dumps({"device": device, "waiting": 0, "touches": [_touch(sheet, n, second)]})
        _ask(line, "POST", sheet["at"]["touches"], body, seen.saves, seen.errors)
        if second % PULSE_EVERY == n % PULSE_EVERY:
            path = f"{sheet['at']['pulse']}?device={device}&waiting=0"
            _ask(line, "GET", path, None, seen.pulses, seen.errors)


def _touch(sheet: dict, n: int, second: int) -> dict[str, object]:  # type: ignore[type-arg]
    cups, asked = sheet["cups"], sheet["asked"]
    cell = second % (len(cups) * len(asked))
    return {
        "key": f"{n:08x}{second:08x}",
        "what": "rating",
        "at": round(time.time() * 1000),
        "cup": cups[cell % len(cups)],
        "pass": sheet["passes"][0]["key"],
        "attribute": asked[cell // len(cups)]["key"],
        "value": _value(n, second),
    }


def _value(n: int, second: int) -> float:
    return ((n + second) % 21) / 2


def _ask(
    line: http.client.HTTPConnection,
    method: str,
    path: str,
    body: str | None,
    times: list[float],
    errors: list[str],
) -> None:
    began = time.perf_counter()
    try:
        line.request(method, path, body, {"Content-Type": "application/json"})
        answer = line.getresponse()
        said = answer.read()
        if answer.status != 200:
            errors.append(f"{method} {answer.status}: {said[:120]!r}")
    except OSError as problem:
        errors.append(f"{method}: {problem!r}")
        line.close()
    times.append(1000 * (time.perf_counter() - began))


def _wrong(url: str, sheet: dict, n: int) -> int:  # type: ignore[type-arg]
    """Count the cells that do not hold the last value sent to them."""
    with urllib.request.urlopen(f"{url}{sheet['at']['sheet']}") as answer:
        there = {
            (cup, attribute): value
            for cup, _, attribute, value, _ in json.loads(answer.read())["ratings"]
        }
    sent = {}
    for second in range(SECONDS):
        touch = _touch(sheet, n, second)
        sent[touch["cup"], touch["attribute"]] = touch["value"]
    return sum(there.get(cell) != value for cell, value in sent.items()) + len(
        there.keys() - sent.keys()
    )


@contextmanager
def _throw_away(beside: str) -> Iterator[str]:
    import psycopg

    name = f"coupage_load_{secrets.token_hex(4)}"
    with psycopg.connect(beside, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
        try:
            yield urlunsplit(urlsplit(beside)._replace(path=f"/{name}"))
        finally:
            connection.execute(f"DROP DATABASE {name} WITH (FORCE)")
