"""The reference says what the code says: commands, tables, public names, priors, settings."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from tools import reference

from coupage import __version__
from coupage.cli.main import COMMANDS
from coupage.web.tables import doors
from tests.docs.pages import ROOT, SRC, headings, text_of

SETTINGS = "docs/reference/settings.md"
HINT = "run: python tools/reference.py"


@pytest.mark.django_db
@pytest.mark.parametrize("name", reference.PAGES)
def test_the_generated_pages_are_what_the_code_gives_now(name: str) -> None:
    # How help is broken into lines differs between versions of Python; its words do not.
    now, kept = (
        " ".join(text.split())
        for text in (
            reference.PAGES[name](),
            text_of(f"docs/reference/{name}"),
        )
    )
    assert kept == now, HINT


def test_every_command_has_its_heading() -> None:
    found = headings(text_of("docs/reference/commands.md"))
    assert found[1:] == [f"coupage {name}" for name in COMMANDS]


@pytest.mark.django_db
def test_every_table_and_column_is_told() -> None:
    parts = text_of("docs/reference/tables.md").split("\n## ")[1:]
    told = {
        part.splitlines()[0]: re.findall(r"^\| (?:\*\*)?(.+?)(?:\*\*)? \|", part, re.MULTILINE)[2:]
        for part in parts
    }
    assert told == {door.name: list(door.layout().names) for door in doors()}


def _variables(folder: Path) -> Iterator[tuple[str, str | None]]:
    """Give each environment variable that code reads, with its default where it is a constant."""
    readers = {"get", "getenv", "setdefault", "pop", "_flag", "_words"}
    for file in sorted(folder.rglob("*.py")):
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            if isinstance(node, ast.Call):
                called = node.func
                name = (
                    called.attr if isinstance(called, ast.Attribute) else getattr(called, "id", "")
                )
                if name not in readers or not node.args:
                    continue
                of_environment = name.startswith("_") or "environ" in ast.unparse(called)
                arguments = [a.value if isinstance(a, ast.Constant) else None for a in node.args]
                if of_environment and isinstance(arguments[0], str):
                    yield arguments[0], arguments[1] if len(arguments) > 1 else None
            elif (
                isinstance(node, ast.Subscript)
                and "environ" in ast.unparse(node.value)
                and isinstance(node.slice, ast.Constant)
            ):
                yield str(node.slice.value), None


def _documented(page: str) -> dict[str, str]:
    rows = re.findall(r"^\| `([A-Z][A-Z_]+)` \| (.*) \|$", text_of(page), re.MULTILINE)
    return dict(rows)


def test_every_setting_that_is_read_is_told_and_no_other() -> None:
    read = {name for name, _ in _variables(SRC)}
    assert {"COUPAGE_DATA", "COUPAGE_DATABASE", "COUPAGE_TLS", "COUPAGE_HOSTS"} <= read
    assert set(_documented(SETTINGS)) == read


def test_no_setting_is_read_in_a_way_that_the_search_does_not_see() -> None:
    told = set(_documented(SETTINGS)) | set(_documented("CONTRIBUTING.md"))
    for folder in (SRC, ROOT / "tests", ROOT / "tools"):
        for file in folder.rglob("*.py"):
            for name in re.findall(r"\bCOUPAGE_[A-Z_]*[A-Z]\b", file.read_text("utf-8")):
                assert name in told, f"{name} in {file.relative_to(ROOT)}"


def test_defaults_of_settings_are_those_of_the_code() -> None:
    told = _documented(SETTINGS)
    for name, default in _variables(SRC):
        if default:
            assert f"`{default}`" in told[name].split(" | ")[0], name


def test_variables_of_tests_are_told_to_contributors() -> None:
    read = {name for folder in ("tests", "tools") for name, _ in _variables(ROOT / folder)}
    own = {name for name in read if name.startswith("COUPAGE_") or name == "CI"}
    assert own - set(_documented(SETTINGS)) == set(_documented("CONTRIBUTING.md"))


def test_the_changes_name_the_current_version_first() -> None:
    versions = re.findall(r"^## (\d+\.\d+\.\d+)", text_of("CHANGELOG.md"), re.MULTILINE)
    assert versions[0] == __version__
    assert f'version = "{__version__}"' in text_of("pyproject.toml")


def test_every_target_of_make_is_told_and_no_other() -> None:
    phony = re.search(r"^\.PHONY: (.+)$", text_of("Makefile"), re.MULTILINE)
    assert phony is not None
    told = re.findall(r"^\| `make ([\w-]+)` \|", text_of("CONTRIBUTING.md"), re.MULTILINE)
    assert sorted(told) == sorted(phony[1].split())
