"""Examples in the pages do what they say."""

from __future__ import annotations

import doctest
import os
import re
import shlex
import subprocess
import sys
import tomllib

import pytest

from coupage.cli.main import COMMANDS, parser_of
from tests.docs.pages import NAMES, ROOT, blocks, text_of

COMPARE = doctest.OutputChecker()
SHELLS = ("console", "sh", "bat")


def _sessions(name: str) -> list[tuple[str, str]]:
    """Give each command of a page's console blocks, and what it is said to print."""
    found = []
    for body in blocks(text_of(name), "console"):
        for part in re.split(r"^\s*\$ ", body, flags=re.MULTILINE)[1:]:
            command, _, said = part.partition("\n")
            found.append((command.strip(), said))
    return found


ANALYSES = [
    pytest.param(command, said, id=f"{name}: {command}")
    for name in NAMES
    for command, said in _sessions(name)
    if command.startswith(("coupage analyse", "coupage design")) and said.strip()
]


@pytest.mark.parametrize("name", [name for name in NAMES if ">>>" in text_of(name)])
def test_python_in_a_page_does_what_it_says(name: str) -> None:
    source = "\n".join(blocks(text_of(name), "python"))
    examples = doctest.DocTestParser().get_doctest(source, {}, name, name, 0)
    assert examples.examples
    told: list[str] = []
    doctest.DocTestRunner().run(examples, out=told.append)
    assert not told, "".join(told)


def test_there_are_analyses_to_run() -> None:
    assert len(ANALYSES) >= 4


@pytest.mark.parametrize(("command", "said"), ANALYSES)
def test_an_analysis_prints_what_the_page_shows(command: str, said: str) -> None:
    """Words must agree; figures may move by a hair between versions of the libraries."""
    done = subprocess.run(
        [sys.executable, "-m", *shlex.split(command)],
        cwd=ROOT,
        env={**os.environ, "COLUMNS": "88", "PYTHONUTF8": "1"},
        capture_output=True,
        encoding="utf-8",
        timeout=120,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    want, got = (re.sub(r"\d+(?:\.\d+)?", "0", text) for text in (said, done.stdout))
    options = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE
    assert COMPARE.check_output(want, got, options), done.stdout


def _commands() -> list[tuple[str, list[str]]]:
    """Give every line of shell in the pages that calls the program, as words."""
    found = []
    for name in NAMES:
        for body in blocks(text_of(name), *SHELLS):
            for line in body.replace("\\", "/").splitlines():
                words = shlex.split(line.strip().removeprefix("$ "), comments=True)
                while words and re.fullmatch(r"[A-Z_]+=.*", words[0]):
                    words = words[1:]
                if words and re.fullmatch(r"(\.venv/(bin|Scripts)/)?coupage", words[0]):
                    found.append((name, words[1:]))
    return found


def test_every_call_of_the_program_in_a_page_is_one_that_it_takes() -> None:
    called = _commands()
    assert {words[0] for _, words in called} >= {"run", "analyse", "import", "export", "backup"}
    for name, (command, *rest) in called:
        assert command in COMMANDS, name
        parser_of(command).parse_args(rest)


@pytest.mark.parametrize("name", NAMES)
def test_every_target_of_make_in_a_page_is_there(name: str) -> None:
    text = text_of(name)
    told = set(re.findall(r"`make ([\w-]+)`", text))
    for body in blocks(text, *SHELLS):
        told |= set(re.findall(r"^make ([\w-]+)", body, re.MULTILINE))
    targets = set(re.findall(r"^([\w-]+):", text_of("Makefile"), re.MULTILINE))
    assert told <= targets


@pytest.mark.parametrize(
    "name", [name for name in NAMES if "`tests/" in text_of(name) or "`src/" in text_of(name)]
)
def test_files_and_folders_that_a_page_names_are_there(name: str) -> None:
    paths = re.findall(
        r"`((?:src|tests|tools|docs|bench|examples|requirements)/[\w./-]+)`", text_of(name)
    )
    assert [path for path in paths if not (ROOT / path).exists()] == []


def test_the_brief_in_a_page_is_the_beginning_of_the_example() -> None:
    (shown,) = blocks(text_of("docs/howto/analyse-files.md"), "toml")
    part, whole = tomllib.loads(shown), tomllib.loads(text_of("examples/brief.toml"))
    assert {key: whole[key] for key in part if key != "want"} == {
        key: value for key, value in part.items() if key != "want"
    }
    assert part["want"]["body"] == whole["want"]["body"]


def test_the_files_in_a_page_are_the_beginning_of_the_examples() -> None:
    ratings, samples = list(blocks(text_of("docs/howto/analyse-files.md"), "text"))[:2]
    assert text_of("examples/ratings.csv").startswith(ratings)
    assert text_of("examples/samples.csv").startswith(samples)


def test_hooks_call_the_same_recipes_and_fetch_nothing() -> None:
    text = text_of(".pre-commit-config.yaml")
    assert re.findall(r"repo: (\S+)", text) == ["local"]
    targets = set(re.findall(r"^([\w-]+):", text_of("Makefile"), re.MULTILINE))
    entries = re.findall(r"entry: make (\S+)", text)
    assert entries
    assert set(entries) <= targets
