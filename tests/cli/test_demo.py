"""The demo roastery comes, stays, and is made anew only when that is asked for."""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing

from tests.cli.doors import coupage


def lots(home) -> list[str]:
    with closing(sqlite3.connect(home / "coupage.sqlite3")) as open_:
        return [name for (name,) in open_.execute("SELECT name FROM coffees_lot ORDER BY name")]


def rename_a_lot(home) -> None:
    with closing(sqlite3.connect(home / "coupage.sqlite3")) as open_:
        open_.execute("UPDATE coffees_lot SET name = 'Mine' WHERE id = 1")
        open_.commit()


def test_the_demo_is_loaded_once_and_refreshed_when_asked(tmp_path):
    first = coupage("demo", data=tmp_path)
    assert (first.returncode, first.stderr) == (0, "")
    assert "is loaded" in first.stdout
    invented = lots(tmp_path)
    assert len(invented) >= 8

    rename_a_lot(tmp_path)
    again = coupage("demo", data=tmp_path)
    assert again.returncode == 0
    assert "loaded before" in again.stdout
    assert "Mine" in lots(tmp_path)

    anew = coupage("demo", "--refresh", data=tmp_path)
    assert (anew.returncode, anew.stderr) == (0, "")
    assert lots(tmp_path) == invented


def test_the_sign_in_that_is_told_opens_the_door(home):
    told = coupage("demo", data=home).stdout
    found = re.search(r"Sign in as (\S+) with the password (\S+);", told)
    assert found
    with closing(sqlite3.connect(home / "coupage.sqlite3")) as open_:
        (stored,) = open_.execute(
            "SELECT password FROM people_person WHERE sign_in = ? AND role = 'owner'", (found[1],)
        ).fetchone()
    from django.contrib.auth.hashers import PBKDF2PasswordHasher

    assert PBKDF2PasswordHasher().verify(found[2], stored)


def test_a_real_roastery_is_never_mixed_with_the_demo(home):
    with closing(sqlite3.connect(home / "coupage.sqlite3")) as open_:
        open_.execute("UPDATE people_roastery SET is_demo = 0")
        open_.commit()
    before = lots(home)
    for more in ([], ["--refresh"]):
        refused = coupage("demo", *more, data=home)
        assert refused.returncode == 2
        assert "real roastery" in refused.stderr
    assert lots(home) == before
