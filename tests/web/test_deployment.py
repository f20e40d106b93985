"""The settings pass Django's own checks for deployment, with https as without."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest


def manage(folder: Path, *words: str, **environment: str) -> subprocess.CompletedProcess[str]:
    ours = ("COUPAGE", "DJANGO")
    kept = {name: value for name, value in os.environ.items() if not name.startswith(ours)}
    return subprocess.run(
        [sys.executable, "-m", "coupage.web.manage", *words],
        env=kept | {"COUPAGE_DATA": str(folder)} | environment,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def test_the_deployment_checks_are_clean_behind_https(tmp_path: Path) -> None:
    ended = manage(tmp_path, "check", "--deploy", "--fail-level", "WARNING", COUPAGE_TLS="1")
    assert ended.returncode == 0, ended.stderr
    assert "no issues" in ended.stdout


def test_without_https_only_what_https_gives_is_missing(tmp_path: Path) -> None:
    """A roastery's own laptop at 127.0.0.1 has no certificate; nothing else may be slack."""
    ended = manage(tmp_path, "check", "--deploy")
    found = {word.strip("(?): ") for word in ended.stderr.split() if "security.W" in word}
    # HSTS, redirect to https, and the two cookies that would insist on it.
    assert found == {"security.W004", "security.W008", "security.W012", "security.W016"}


@pytest.mark.parametrize(
    ("name", "value", "says"),
    [("COUPAGE_DATABASE", "mysql://x/y", "COUPAGE_DATABASE: write it like postgresql://")],
)
def test_a_wrong_setting_is_one_line_that_says_how_to_mend_it(
    name: str, value: str, says: str, tmp_path: Path
) -> None:
    ended = manage(tmp_path, "check", **{name: value})
    assert ended.returncode != 0
    assert says in ended.stderr
    assert "Traceback" not in ended.stderr


def test_each_installation_has_a_key_of_its_own_that_only_its_owner_reads(tmp_path: Path) -> None:
    keys = []
    for name in ("one", "two"):
        manage(tmp_path / name, "check")
        place = tmp_path / name / "secret-key"
        keys.append(place.read_text("ascii"))
        assert place.stat().st_mode & 0o077 == 0
        manage(tmp_path / name, "check")
        assert place.read_text("ascii") == keys[-1]
    assert keys[0] != keys[1]
    assert min(len(key) for key in keys) >= 50
