"""The real executable, and the example files."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

__all__ = ["BRIEF", "EXAMPLES", "RATINGS", "SAMPLES", "WIDE", "coupage"]

EXAMPLES = Path(__file__).parents[2] / "examples"
RATINGS, SAMPLES = EXAMPLES / "ratings.csv", EXAMPLES / "samples.csv"
WIDE, BRIEF = EXAMPLES / "ratings-wide.csv", EXAMPLES / "brief.toml"
PROGRAM = Path(sys.executable).with_name("coupage.exe" if os.name == "nt" else "coupage")


def coupage(
    *arguments: str | Path, data: Path | None = None, answer: str | None = None, **environment: str
) -> subprocess.CompletedProcess[str]:
    """Run the program as a person does; ``data`` is its data folder."""
    own = {**os.environ, "PYTHONUTF8": "1", "OPENBLAS_NUM_THREADS": "1", **environment}
    # What the tests themselves run on is not what the program shall run on.
    for name in {"COUPAGE_DATABASE", "DJANGO_SETTINGS_MODULE"} - environment.keys():
        own.pop(name, None)
    if data is not None:
        own["COUPAGE_DATA"] = str(data)
    return subprocess.run(
        [str(PROGRAM), *map(str, arguments)],
        capture_output=True,
        text=True,
        encoding="utf-8",
        env=own,
        input=answer or "",
        timeout=120,
        check=False,
    )
