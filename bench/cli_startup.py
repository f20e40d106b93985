"""How long the command line takes to answer."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from coupage.cli.main import COMMANDS

TITLE = "How fast does the command line answer?"

ROOT = Path(__file__).parents[1]
PROGRAM = Path(sys.executable).with_name("coupage.exe" if os.name == "nt" else "coupage")
GOAL = 0.3


def _seconds(arguments: list[str], times: int, environment: dict[str, str]) -> list[float]:
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        subprocess.run(
            [str(PROGRAM), *arguments], capture_output=True, env=environment, check=False
        )
        taken.append(time.perf_counter() - start)
    return taken


def run() -> str:
    ratings, samples = ROOT / "examples" / "ratings.csv", ROOT / "examples" / "samples.csv"
    brief = ROOT / "examples" / "brief.toml"
    with tempfile.TemporaryDirectory() as folder:
        wrong = Path(folder, "wrong.csv")
        wrong.write_text("cupping,taster,sample,attribute,rating\na,t,417,body,much\n")
        environment = {**os.environ, "COUPAGE_DATA": folder, "OPENBLAS_NUM_THREADS": "1"}
        rows = [("`coupage --help`", ["--help"], 15)]
        rows += [(f"`coupage {name} --help`", [name, "--help"], 15) for name in COMMANDS]
        files = [str(ratings), str(samples)]
        rows += [
            ("a wrong file told", ["analyse", str(wrong), str(samples)], 9),
            ("`coupage analyse`, 448 ratings", ["analyse", *files], 5),
            ("the same with a brief", ["analyse", *files, "--brief", str(brief)], 5),
        ]
        lines = ["| what | median | slowest |", "| --- | --- | --- |"]
        for title, arguments, times in rows:
            taken = _seconds(arguments, times, environment)
            lines.append(f"| {title} | {statistics.median(taken):.2f} s | {max(taken):.2f} s |")
    return "\n".join(
        [
            f"Whole processes, started cold after each other; the goal for help is {GOAL} s.",
            "",
            *lines,
        ]
    )
