# ruff: noqa: A005
"""How long is the way back from a bag? Five years, a million bags, both databases."""

from __future__ import annotations

import os
import secrets
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

TITLE = "Tracing a lot through a million bags"
WORKER = Path(__file__).with_name("_trace_worker.py")


def run() -> str:
    rows = []
    with tempfile.TemporaryDirectory(prefix="coupage-trace-") as folder:
        rows.append(("SQLite", _measure({"COUPAGE_DATA": folder})))
    beside = os.environ.get("COUPAGE_TEST_POSTGRES", "")
    if beside:
        rows.append(("PostgreSQL", _on_postgres(beside)))
    lines = [
        "Five years of a roastery: 5,200 runs of two blends, every run with a rest of the one",
        "before it in a tenth of cases, 1,000,000 bags in 15,600 rows of one lot and size each,",
        "some 187,000 lines of dispatches to 400 customers, 480 green lots. Bags are counted, not",
        "numbered: the lot code is what is traced. Median and slowest of 20 lots and 20 bags, each",
        "the best of three; the longest chain is one lot whose rests went on for two years.",
        "",
        (
            "| database | green lot to receivers, s | bag to green lots and receivers, s | "
            "longest chain, s (edges) | whole page of a lot, s |"
        ),
        "| --- | --- | --- | --- | --- |",
    ]
    for name, seen in rows:
        lot, bag, page = seen["lot"], seen["run"], seen["page"]
        lines.append(
            f"| {name} | {statistics.median(lot):.3f} / {max(lot):.3f} "
            f"| {statistics.median(bag):.3f} / {max(bag):.3f} "
            f"| {max(seen['chain']):.3f} ({int(seen['edges'][0]):,}) "
            f"| {statistics.median(page):.3f} |"
        )
    if not beside:
        lines.append("\nNo PostgreSQL was named by COUPAGE_TEST_POSTGRES; it was not measured.")
    return "\n".join(lines)


def _measure(environment: dict[str, str]) -> dict[str, list[float]]:
    done = subprocess.run(
        [sys.executable, str(WORKER)],
        env={**os.environ, "DJANGO_SETTINGS_MODULE": "coupage.web.settings", **environment},
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    found: dict[str, list[float]] = {}
    for line in done.stdout.splitlines():
        what, *figures = line.split()
        found[what] = [float(figure) for figure in figures]
    return found


def _on_postgres(beside: str) -> dict[str, list[float]]:
    import psycopg

    name = f"coupage_bench_{secrets.token_hex(4)}"
    with psycopg.connect(beside, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}")
        try:
            with tempfile.TemporaryDirectory(prefix="coupage-trace-") as folder:
                url = urlunsplit(urlsplit(beside)._replace(path=f"/{name}"))
                return _measure({"COUPAGE_DATA": folder, "COUPAGE_DATABASE": url})
        finally:
            connection.execute(f"DROP DATABASE {name} WITH (FORCE)")
