"""Write the parts of docs/reference that follow from the code: ``python tools/reference.py``.

``--check`` writes nothing and says which pages are out of date. Tests compare the pages too.
"""

from __future__ import annotations

import argparse
import inspect
import os
import re
import sys
import tempfile
from collections.abc import Callable, Iterable
from dataclasses import fields
from decimal import Decimal
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from coupage.sheets import Column
    from coupage.web.common.doors import Door

ROOT = Path(__file__).resolve().parent.parent
REFERENCE = ROOT / "docs" / "reference"
WIDTH = 88
MADE = (
    "<!-- Made by tools/reference.py from the code; change the code and run that, not this. -->\n"
)
ROOMS = (
    "mixture",
    "panel",
    "difference",
    "table",
    "roast",
    "recipe",
    "cost",
    "plan",
    "units",
    "errors",
    "sheets",
)
PRIORS = re.compile(r"(<!-- priors -->\n).*?(<!-- /priors -->)", re.DOTALL)


def commands() -> str:
    """Every command with the text of its ``--help``."""
    from coupage.cli.main import COMMANDS, parser_of

    before = os.environ.get("COLUMNS")
    os.environ["COLUMNS"] = str(WIDTH)
    try:
        told = {name: parser_of(name).format_help().rstrip() for name in COMMANDS}
    finally:
        os.environ.pop("COLUMNS")
        if before is not None:
            os.environ["COLUMNS"] = before
    parts = [
        "# Commands\n",
        MADE,
        (
            "Every command answers `--help`. The exit status is 0 when it is done, 2 when an "
            "argument or a file is wrong (one line says what), 1 when you said no.\n\n"
            "After `make run` or `make setup` the program is `.venv/bin/coupage` "
            "(on Windows `.venv\\Scripts\\coupage.exe`); these pages write `coupage` for short.\n"
        ),
    ]
    for name, text in told.items():
        parts.append(f"## coupage {name}\n\n```text\n{text}\n```\n")
    return "\n".join(parts)


def tables() -> str:
    """Every table that goes in or out, with its columns. Django must be set up."""
    from coupage.web.tables import doors

    parts = [
        "# Tables\n",
        MADE,
        (
            "These tables go out with `coupage export TABLE FILE` and come in with "
            "`coupage import TABLE FILE`, or by the buttons on their pages. They must come in "
            "in this order: a batch needs its lot. CSV and XLSX hold the same columns.\n\n"
            "Headings may differ in case, spaces and hyphens, and may carry a unit: "
            "`green in (kg)`. A *share* is written 35 %, 35 or 0.35. *Yes-no* is yes or no. "
            "Columns in bold must be there and filled.\n"
        ),
    ]
    parts += [_table(door) for door in doors()]
    return "\n".join(parts)


def _table(door: Door) -> str:
    layout = door.layout()
    lines = [f"## {door.name}\n"]
    if layout.description:
        lines.append(f"{layout.description}\n")
    if door.exchange is None:
        lines.append("This table only goes out.\n")
    if layout.key:
        lines.append(f"Rows are told apart by: {', '.join(layout.key)}.\n")
    lines += ["| column | kind | when empty | notes |", "| --- | --- | --- | --- |"]
    lines += [_column(column) for column in layout.columns]
    return "\n".join(lines) + "\n"


def _column(column: Column) -> str:
    name = f"**{column.name}**" if column.required else column.name
    kind = f"{column.kind}, {column.unit}" if column.unit else column.kind
    empty = "refused" if column.required else _default(column.default)
    notes = []
    if column.choices:
        notes.append("One of " + ", ".join(column.choices) + ".")
    if column.low is not None or column.high is not None:
        notes.append(_range(column))
    if column.help:
        notes.append(column.help if column.help.endswith(".") else f"{column.help}.")
    if column.aliases:
        notes.append("Also headed " + ", ".join(column.aliases) + ".")
    return f"| {name} | {kind} | {empty} | {' '.join(notes)} |"


def _range(column: Column) -> str:
    if column.high is None:
        return f"At least {column.low}."
    if column.low is None:
        return f"At most {column.high}."
    return f"{column.low} to {column.high}."


def _default(value: object) -> str:
    if value is None or value == "":
        return "left empty"
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)


def api() -> str:
    """Every public name of the computing rooms with the first line of what it says of itself."""
    parts = [
        "# Names for notebooks and scripts\n",
        MADE,
        (
            "The computing rooms know no web and no database: import them anywhere. Masses are "
            "kilograms unless a name says grams, intensities are 0 to 10, shares are fractions of "
            "1. `help(name)` in Python shows arguments, units, errors and an example.\n"
        ),
    ]
    for room in ROOMS:
        module = import_module(f"coupage.{room}")
        parts.append(f"## coupage.{room}\n\n{_first_line(module)}\n")
        rows = [f"| `{name}` | {_say(getattr(module, name))} |" for name in module.__all__]
        parts.append("\n".join(["| name | what it is |", "| --- | --- |", *rows]) + "\n")
    return "\n".join(parts)


def _first_line(thing: Any) -> str:
    """Return the first sentence of a docstring, on one line."""
    text = " ".join((inspect.getdoc(thing) or "").split("\n\n")[0].split())
    text = re.sub(r"\s*\[\d+\]_", "", text)
    text = re.sub(r":[a-z]+:`~?([^`]*)`", r"`\1`", text)
    return text.replace("``", "`").replace("|", "\\|")


def _say(thing: Any) -> str:
    if inspect.ismodule(thing) or inspect.isfunction(thing) or inspect.isclass(thing):
        return _first_line(thing)
    if hasattr(thing, "__args__"):
        words = [str(word) if isinstance(word, str) else _typed(word) for word in thing.__args__]
        return "One of: " + ", ".join(f"`{word}`" for word in words)
    if isinstance(thing, (int, float, str, Decimal)):
        return f"`{thing}`"
    return ", ".join(f"`{item}`" for item in _names(thing))


def _typed(thing: Any) -> str:
    return "None" if thing is type(None) else getattr(thing, "__name__", str(thing))


def _names(things: Iterable[Any]) -> list[str]:
    return [getattr(item, "name", str(item)) for item in things]


def model() -> str:
    """Return the page on the model, its table of priors taken from their defaults."""
    from coupage.panel import Priors

    page = (REFERENCE / "model.md").read_text("utf-8")
    said = _attributes(Priors)
    rows = ["| field | default | what it is |", "| --- | --- | --- |"]
    rows += [f"| `{f.name}` | {f.default} | {said[f.name]} |" for f in fields(Priors)]
    made = "\n".join(rows)
    done, count = PRIORS.subn(lambda found: f"{found[1]}{made}\n{found[2]}", page)
    if count != 1:
        raise SystemExit("docs/reference/model.md: there must be one block of priors")
    return done


def _attributes(thing: type) -> dict[str, str]:
    """Return what a class's docstring says of each attribute, one sentence of Markdown each."""
    body = (inspect.getdoc(thing) or "").split("Attributes\n----------\n")[1]
    body = body.split("\n\n")[0]
    found: dict[str, str] = {}
    for names, text in re.findall(r"^(\S.*)\n((?:    .*\n?)+)", body, re.MULTILINE):
        told = re.sub(r"\s*\[\d+\]_", "", " ".join(text.split()))
        found |= dict.fromkeys(names.split(", "), told)
    return found


PAGES: dict[str, Callable[[], str]] = {
    "commands.md": commands,
    "tables.md": tables,
    "api.md": api,
    "model.md": model,
}


def main() -> int:
    parser = argparse.ArgumentParser(description="Write what follows from the code.")
    parser.add_argument("--check", action="store_true", help="only say what is out of date")
    check = parser.parse_args().check
    stale = []
    with tempfile.TemporaryDirectory() as folder:
        _set_up(folder)
        for name, make in PAGES.items():
            place, text = REFERENCE / name, make()
            if not place.exists() or place.read_text("utf-8") != text:
                stale.append(name)
                if not check:
                    place.write_text(text, "utf-8", newline="\n")
    print(f"{'out of date' if check else 'written'}: {', '.join(stale) or 'none'}")
    return 1 if check and stale else 0


def _set_up(folder: str) -> None:
    """Make Django ready on an empty database of its own: some tables follow what it holds."""
    os.environ["COUPAGE_DATA"] = folder
    os.environ.pop("COUPAGE_DATABASE", None)
    os.environ["DJANGO_SETTINGS_MODULE"] = "coupage.web.settings"
    import django
    from django.core.management import call_command

    django.setup()
    call_command("migrate", verbosity=0, interactive=False)


if __name__ == "__main__":
    sys.exit(main())
