"""What does a fit cost as ratings grow, beside general mixed-model libraries?"""

from __future__ import annotations

import json
import os
import subprocess
import sys

TITLE = "The panel model on large tables"

ROWS = (
    ("coupage", 1_000, 1),
    ("coupage", 10_000, 1),
    ("coupage", 100_000, 1),
    ("coupage", 1_000_000, 1),
    ("coupage", 100_000, 10),
    ("coupage straight", 100_000, 1),
    ("coupage warm", 100_000, 1),
    ("coupage 500 more", 100_000, 1),
    ("mixedlm", 100_000, 1),
    ("statsmodels", 1_000, 1),
    ("statsmodels", 5_000, 1),
)
LIMIT = 600


def measure(what: str, ratings: int, attributes: int) -> dict[str, float] | str:
    command = [sys.executable, "-m", "bench._panel_worker", what, str(ratings), str(attributes)]
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    try:
        done = subprocess.run(
            command, capture_output=True, text=True, env=environment, timeout=LIMIT, check=False
        )
    except subprocess.TimeoutExpired:
        return f"not done after {LIMIT} s"
    if done.returncode:
        return f"failed: {done.stderr.strip().splitlines()[-1][:80]}"
    found: dict[str, float] = json.loads(done.stdout.strip().splitlines()[-1])
    return found


def run() -> str:
    introduction = (
        "Each row in a process of its own on one thread; peak memory is that of the whole "
        "process, interpreter, libraries and the table included. `coupage` fits true blends of up "
        "to three of 2,000 coffees with every pair seen as a departure of its own (13,000 of them "
        "at 100,000 ratings), 300 tasters each with their own noise, 1,250 cuppings; other sizes "
        "change alike. `straight` has one coffee a sample, as mixedlm and statsmodels need it; "
        "they have one noise for all. `warm` starts from the beliefs before; `500 more` from "
        "the beliefs without the newest 500 ratings. The true standard "
        "deviations are 1.0 (coffees) and 0.6 (tasters). Tables under some 150 samples, tasters "
        "and cuppings together are integrated, all others fitted around the mode."
    )
    heads = (
        *("fit", "ratings", "attributes", "seconds", "processor s", "peak MB"),
        *("coffees", "tasters", "one question, s"),
    )
    lines = [
        introduction,
        "",
        f"| {' | '.join(heads)} |",
        "| --- " * len(heads) + "|",
    ]
    for what, ratings, attributes in ROWS:
        found = measure(what, ratings, attributes)
        if isinstance(found, str):
            lines.append(f"| {what} | {ratings:,} | {attributes} | {found} | | | | | |")
            continue
        figures = [
            f"{found[k]:.3f}" if k in found else "" for k in ("coffee", "taster", "question")
        ]
        lines.append(
            f"| {what} | {ratings:,} | {attributes} | {found['seconds']:.2f} | "
            f"{found['cpu']:.2f} | {found['peak']:.0f} | " + " | ".join(figures) + " |"
        )
    return "\n".join(lines)
