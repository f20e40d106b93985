"""Run benchmarks and write their sections into docs/benchmarks.md."""

from __future__ import annotations

import importlib
import os
import pkgutil
import platform
import re
import sys
from pathlib import Path

import bench

REPORT = Path(__file__).parent.parent / "docs" / "benchmarks.md"
HEAD = """# Benchmarks

Every figure below was measured by `make bench`, the references side by side in one run.
A section is rewritten only when its benchmark runs again; each says on which machine it ran.
"""


def machine() -> str:
    import numpy
    import scipy

    return (
        f"{os.cpu_count()} cores, {platform.system()} {platform.machine()}, "
        f"Python {platform.python_version()}, NumPy {numpy.__version__}, SciPy {scipy.__version__}"
    )


def write_section(name: str, title: str, body: str) -> None:
    text = REPORT.read_text("utf-8") if REPORT.exists() else HEAD
    begin, end = f"<!-- {name}: begin -->", f"<!-- {name}: end -->"
    section = f"{begin}\n## {title}\n\n{body.strip()}\n\nMeasured on: {machine()}.\n{end}"
    pattern = re.compile(f"{re.escape(begin)}.*?{re.escape(end)}", re.DOTALL)
    if pattern.search(text):
        text = pattern.sub(lambda _: section, text)
    else:
        text = f"{text.rstrip()}\n\n{section}\n"
    REPORT.write_text(text, "utf-8")


def main(names: list[str]) -> int:
    every = [m.name for m in pkgutil.iter_modules(bench.__path__) if not m.name.startswith("_")]
    unknown = sorted(set(names) - set(every))
    if unknown:
        print(f"no benchmark named {', '.join(unknown)}; there are: {', '.join(every)}")
        return 2
    for name in names or every:
        print(f"== {name}", flush=True)
        module = importlib.import_module(f"bench.{name}")
        body = module.run()
        print(body)
        write_section(name, module.TITLE, body)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
