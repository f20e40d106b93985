"""One door, quick to open, clear when it stays shut."""

from __future__ import annotations

import subprocess
import sys

import pytest
from tests.cli.doors import PROGRAM, RATINGS, SAMPLES, coupage

from coupage import __version__
from coupage.cli.main import COMMANDS, main, parser_of


def test_help_lists_every_command():
    shown = coupage("--help")
    assert shown.returncode == 0
    for name, (_, line) in COMMANDS.items():
        assert f"{name} " in shown.stdout
        assert line in shown.stdout


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_explains_itself(name, capsys):
    with pytest.raises(SystemExit) as ended:
        main([name, "--help"])
    assert ended.value.code == 0
    shown = capsys.readouterr().out
    assert shown.startswith(f"usage: coupage {name}")
    for action in parser_of(name)._actions:
        assert action.help, f"{action.dest} of {name} has no help"


@pytest.mark.parametrize("name", ["--help", *COMMANDS])
def test_help_loads_nothing_heavy(name):
    # What makes a command line slow are imports; the time itself is in the benchmarks.
    arguments = [name] if name == "--help" else [name, "--help"]
    code = (
        "import sys\nfrom coupage.cli.main import main\n"
        f"try: main({arguments!r})\nexcept SystemExit: pass\n"
        "heavy = {'numpy', 'scipy', 'django', 'openpyxl', 'granian', 'asyncio', 'hashlib'}\n"
        "print('loaded:', *sorted(heavy & sys.modules.keys()))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "loaded:"


def test_a_wrong_command_is_told_in_one_line_with_the_nearest():
    done = coupage("analyze")
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr == "coupage: 'analyze' is not a command; did you mean analyse?\n"


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["analyse"], "two files"),
        (["analyse", "only-one.csv"], "two files"),
        (["analyse", "a", "b", "--seed", "x"], "--seed"),
        (["analyse", "a", "b", "--brieff", "x"], "--brieff"),
        (["analyse", str(RATINGS), str(SAMPLES), "--seed", "-1"], "--seed"),
        (["analyse", str(RATINGS), str(SAMPLES), "--top", "0"], "--top"),
        (["analyse", str(RATINGS), str(SAMPLES), "--age", "nan"], "--age"),
        (["analyse", str(RATINGS), str(SAMPLES), "--tolerance", "wide"], "--tolerance"),
        (["analyse", str(RATINGS), str(SAMPLES), "--tolerance", "0"], "--tolerance"),
        (["--verbose"], "--verbose"),
    ],
)
def test_wrong_arguments_are_told_in_one_line(arguments, told, capsys):
    try:
        status = main(arguments)
    except SystemExit as ended:
        status = ended.code
    shown = capsys.readouterr()
    assert status == 2
    assert told in shown.err
    assert shown.err.count("\n") == 1
    assert shown.out == ""


def test_the_version_is_the_packages_own(capsys):
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"coupage {__version__}\n"


def test_a_reader_that_has_seen_enough_is_no_error():
    done = subprocess.run(
        f'"{PROGRAM}" analyse --schema | head -c 10',
        shell=True,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stderr == ""
