"""Run every test: on SQLite, in Chromium, and on PostgreSQL where a server is named.

``COUPAGE_TEST_POSTGRES`` names a server as a URL (a database that may be used to make throw-away
ones). Chromium is looked for, installed from Debian's packages where that is possible, and
otherwise its absence is said plainly; with ``CI`` set, it is a failure.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as ET
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
# What is driven in a browser on PostgreSQL too: the main path, and phones at a table all at once.
ON_POSTGRES = ("main_path", "table", "live")
CHROMIUM = ("chromium", "chromium-browser", "google-chrome", "chrome")


def find_chromium() -> str | None:
    named = os.environ.get("COUPAGE_CHROMIUM")
    return named or next((path for name in CHROMIUM if (path := shutil.which(name))), None)


def install_chromium() -> None:
    if not shutil.which("apt-get") or not hasattr(os, "geteuid") or os.geteuid() != 0:
        return
    print("Installing Chromium from Debian's packages (once)", flush=True)
    quiet = {
        "stdout": subprocess.DEVNULL,
        "env": {**os.environ, "DEBIAN_FRONTEND": "noninteractive"},
    }
    subprocess.run(["apt-get", "update"], check=False, **quiet)
    subprocess.run(
        ["apt-get", "install", "--yes", "--no-install-recommends", "chromium"], check=False, **quiet
    )


def pytest(title: str, arguments: list[str], **environment: str) -> dict[str, int]:
    """Run pytest and return its counts; a run that does not finish counts as a failure."""
    print(f"\n== {title}", flush=True)
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder, "report.xml")
        command = [sys.executable, "-m", "pytest", "-q", f"--junit-xml={report}", *arguments]
        threads = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
        done = subprocess.run(
            command, cwd=ROOT, env={**os.environ, **threads, **environment}, check=False
        )
        counts = {"passed": 0, "failed": 0, "skipped": 0}
        if report.exists():
            suite = ET.parse(report).getroot().find("testsuite")
            assert suite is not None
            counts["failed"] = int(suite.get("failures", 0)) + int(suite.get("errors", 0))
            counts["skipped"] = int(suite.get("skipped", 0))
            counts["passed"] = int(suite.get("tests", 0)) - counts["failed"] - counts["skipped"]
    if done.returncode and not counts["failed"]:
        counts["failed"] = 1
    return counts


def main() -> int:
    if not find_chromium():
        install_chromium()
    chromium = find_chromium()
    postgres = os.environ.get("COUPAGE_TEST_POSTGRES")
    workers = ["-n", str(min(4, os.cpu_count() or 1))]

    runs = [pytest("Tests on SQLite", [*workers, "-m", "not browser"])]
    browser = {"COUPAGE_CHROMIUM": chromium or ""}
    if chromium:
        runs.append(pytest("In Chromium, on SQLite", ["tests", "-m", "browser"], **browser))
    if postgres:
        on_postgres = {"COUPAGE_DATABASE": postgres}
        runs.append(
            pytest(
                "Tests on PostgreSQL",
                [*workers, "-m", "not browser", "tests/web"],
                **on_postgres,
            )
        )
        if chromium:
            runs.append(
                pytest(
                    "In Chromium, on PostgreSQL",
                    [f"tests/browser/test_{name}.py" for name in ON_POSTGRES],
                    **on_postgres,
                    **browser,
                )
            )

    total = {key: sum(run[key] for run in runs) for key in ("passed", "failed", "skipped")}
    print()
    if not postgres:
        print("Not run: PostgreSQL tests (name a server with COUPAGE_TEST_POSTGRES).")
    if not chromium:
        print("Not run: browser tests, since there is no Chromium (name one: COUPAGE_CHROMIUM).")
        if os.environ.get("CI"):
            total["failed"] += 1
    print(f"{total['passed']} passed, {total['failed']} failed, {total['skipped']} skipped")
    return 1 if total["failed"] or not total["passed"] else 0


if __name__ == "__main__":
    sys.exit(main())
