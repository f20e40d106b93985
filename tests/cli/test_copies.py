"""Backup and restore on real data folders, through the real executable."""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

import pytest
from tests.cli.doors import coupage

from coupage.cli import copies
from coupage.cli.copies import opened
from coupage.errors import InputError

POSTGRES = os.environ.get("COUPAGE_TEST_POSTGRES")


@pytest.fixture(scope="module")
def backup(furnished, tmp_path_factory) -> Path:
    file = tmp_path_factory.mktemp("backups") / "all.backup"
    done = coupage("backup", file, data=furnished)
    assert (done.returncode, done.stderr) == (0, "")
    return file


def contents(database: Path) -> dict[str, list[str]]:
    """Every row of every table as text; when migrations ran is not data."""
    with closing(sqlite3.connect(database)) as open_:
        tables = [
            name
            for (name,) in open_.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
            if not name.startswith(("sqlite_", "django_migrations", "django_session"))
        ]
        found = {}
        for table in tables:
            columns = sorted(row[1] for row in open_.execute(f"PRAGMA table_info({table})"))
            listed = ", ".join(f'"{column}"' for column in columns)
            rows = open_.execute(f"SELECT {listed} FROM {table}")
            found[table] = sorted(repr(tuple(map(_plain, row))) for row in rows)
    return found


def _plain(value: object) -> object:
    """JSON with its keys in order: PostgreSQL keeps them in an order of its own."""
    if isinstance(value, str) and value.startswith("{"):
        with suppress(ValueError):
            return json.dumps(json.loads(value), sort_keys=True)
    return value


def count(home: Path, table: str) -> int:
    with closing(sqlite3.connect(home / "coupage.sqlite3")) as open_:
        return open_.execute(f"SELECT COUNT(*) FROM {table}").fetchone()[0]


def triggers(home: Path) -> int:
    with closing(sqlite3.connect(home / "coupage.sqlite3")) as open_:
        (found,) = open_.execute(
            "SELECT COUNT(*) FROM sqlite_master WHERE type = 'trigger'"
        ).fetchone()
    return found


def ruin(home: Path) -> None:
    with closing(sqlite3.connect(home / "coupage.sqlite3")) as open_:
        open_.execute("DELETE FROM cuppings_rating")
        open_.execute("UPDATE people_roastery SET name = 'Ruined'")
        open_.commit()


def test_a_backup_says_what_it_holds_and_keeps_open_sign_ins_out(furnished, backup):
    with zipfile.ZipFile(backup) as archive:
        manifest = json.loads(archive.read("manifest.json"))
    assert manifest["rows"]["cuppings_rating"] == count(furnished, "cuppings_rating") > 1000
    assert count(furnished, "django_session") == 1
    assert manifest["rows"]["django_session"] == 0
    assert manifest["engine"] == "sqlite"
    if os.name != "nt":
        assert backup.stat().st_mode & 0o077 == 0


def test_restore_brings_every_row_back_and_keeps_what_was_there(home, furnished, backup):
    ruin(home)
    ruined = contents(home / "coupage.sqlite3")
    done = coupage("restore", backup, "--yes", data=home)
    assert (done.returncode, done.stderr) == (0, "")
    assert contents(home / "coupage.sqlite3") == contents(furnished / "coupage.sqlite3") != ruined
    assert triggers(home) == triggers(furnished) > 0

    (kept,) = home.glob("before-restore-*.backup")
    assert str(kept) in done.stdout
    back = coupage("restore", kept, "--yes", data=home)
    assert back.returncode == 0
    assert contents(home / "coupage.sqlite3") == ruined


def test_a_new_folder_may_be_restored_into(tmp_path, furnished, backup):
    done = coupage("restore", backup, "--yes", data=tmp_path / "new")
    assert (done.returncode, done.stderr) == (0, "")
    assert not list((tmp_path / "new").glob("before-restore-*"))  # there was nothing to keep
    assert contents(tmp_path / "new" / "coupage.sqlite3") == contents(furnished / "coupage.sqlite3")


def test_restore_does_not_wait_for_nobody_and_changes_nothing_unasked(home, backup):
    before = contents(home / "coupage.sqlite3")
    done = coupage("restore", backup, data=home)
    assert done.returncode == 2
    assert "add --yes" in done.stderr
    checked = coupage("restore", backup, "--check", data=home)
    assert checked.returncode == 0
    assert f"{count(home, 'cuppings_rating'):,} ratings" in checked.stdout
    assert contents(home / "coupage.sqlite3") == before
    assert not list(home.glob("before-restore-*"))


@pytest.mark.parametrize("typed", ["yes", "no"])
@pytest.mark.skipif(os.name == "nt", reason="needs a pseudo-terminal")
def test_restore_asks_first(home, backup, typed):
    import pty

    ruin(home)
    main, child = pty.openpty()
    environment = {**os.environ, "COUPAGE_DATA": str(home)}
    for name in ("COUPAGE_DATABASE", "DJANGO_SETTINGS_MODULE"):
        environment.pop(name, None)
    program = Path(sys.executable).with_name("coupage")
    os.write(main, f"{typed}\n".encode())
    done = subprocess.run(
        [str(program), "restore", str(backup)],
        stdin=child, capture_output=True, text=True, env=environment, timeout=60, check=False,
    )  # fmt: skip
    os.close(main)
    os.close(child)
    assert "will be replaced" in done.stdout
    assert done.returncode == (0 if typed == "yes" else 1)
    assert (count(home, "cuppings_rating") > 0) == (typed == "yes")


def _repacked(backup: Path, to: Path, *, database=None, **manifest) -> Path:
    with zipfile.ZipFile(backup) as old, zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED) as new:
        told = json.loads(old.read("manifest.json")) | manifest
        new.writestr("manifest.json", json.dumps(told))
        data = old.read("coupage.sqlite3")
        new.writestr("coupage.sqlite3", data if database is None else database(data))
    return to


def _with_statement(statement: str, folder: Path):
    """A change to the database inside, with a manifest that agrees."""

    def change(data: bytes) -> bytes:
        file = folder / "inside.sqlite3"
        file.write_bytes(data)
        with closing(sqlite3.connect(file)) as open_:
            open_.execute(statement)
            open_.commit()
        return file.read_bytes()

    return change


def test_a_backup_that_is_not_whole_is_refused_before_anything_is_touched(home, backup, tmp_path):
    import hashlib

    before = contents(home / "coupage.sqlite3")
    # One letter of a note: a sound database, yet not the one that was backed up.
    flipped = _repacked(
        backup,
        tmp_path / "flipped",
        database=lambda data: data.replace(b"the house blend stands", b"the house blend stunds"),
    )
    short = tmp_path / "short"
    short.write_bytes(backup.read_bytes()[:-2000])
    other = tmp_path / "other"
    with zipfile.ZipFile(other, "w") as archive:
        archive.writestr("readme.txt", "hello")
    foreign = _repacked(backup, tmp_path / "foreign", what="something else")
    later = _repacked(backup, tmp_path / "later", format=99, version="9.0")
    change = _with_statement(
        "INSERT INTO django_migrations (app, name, applied) VALUES ('coffees', '9999_next', 0)",
        tmp_path,
    )
    with zipfile.ZipFile(backup) as archive:
        newer_data = change(archive.read("coupage.sqlite3"))
    newer = _repacked(
        backup, tmp_path / "newer", database=lambda _: newer_data,
        sha256=hashlib.sha256(newer_data).hexdigest(), size=len(newer_data), version="9.0",
    )  # fmt: skip
    for file, told in (
        (flipped, "checksum differs"),
        (short, "not a whole backup"),
        (other, "not a whole backup"),
        (foreign, "not a backup of Coupage"),
        (later, "made by Coupage 9.0, which is newer"),
        (newer, "knows more tables"),
    ):
        with pytest.raises(InputError, match=told), opened(file):
            pass
    done = coupage("restore", flipped, "--yes", data=home)
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "checksum differs" in done.stderr
    fresh = coupage("restore", tmp_path / "none", "--yes", data=tmp_path / "fresh")
    assert "no such file" in fresh.stderr
    assert not (tmp_path / "fresh" / "coupage.sqlite3").exists()
    assert contents(home / "coupage.sqlite3") == before
    assert not list(home.glob("before-restore-*"))


def test_an_unsound_database_inside_is_refused(backup, tmp_path):
    import hashlib

    change = _with_statement("UPDATE cuppings_rating SET cup_id = 900000 + cup_id", tmp_path)
    with zipfile.ZipFile(backup) as archive:
        path = tmp_path / "x.sqlite3"
        path.write_bytes(archive.read("coupage.sqlite3"))
    with closing(sqlite3.connect(path)) as open_:
        names = [r[0] for r in open_.execute("SELECT name FROM sqlite_master WHERE type='trigger'")]
        for name in names:
            open_.execute(f"DROP TRIGGER {name}")
        open_.commit()
    data = change(path.read_bytes())
    bad = _repacked(
        backup, tmp_path / "bad", database=lambda _: data,
        sha256=hashlib.sha256(data).hexdigest(), size=len(data),
    )  # fmt: skip
    with pytest.raises(InputError, match="not sound"), opened(bad):
        pass


def test_backup_replaces_nothing_unasked_and_needs_a_folder(furnished, backup, tmp_path):
    done = coupage("backup", backup, data=furnished)
    assert done.returncode == 2
    assert "--replace" in done.stderr
    done = coupage("backup", tmp_path / "no" / "x", data=furnished)
    assert "folder is not there" in done.stderr
    done = coupage("backup", tmp_path / "x", data=tmp_path / "empty")
    assert done.returncode == 2
    assert "there is no database" in done.stderr
    assert not (tmp_path / "x").exists()


def test_backup_while_somebody_writes_holds_one_moment(home, tmp_path):
    with closing(sqlite3.connect(home / "coupage.sqlite3", isolation_level=None)) as writer:
        writer.execute("BEGIN IMMEDIATE")
        writer.execute("DELETE FROM cuppings_rating")
        done = coupage("backup", tmp_path / "x", data=home)
        writer.execute("ROLLBACK")
    assert done.returncode == 0, done.stderr
    with zipfile.ZipFile(tmp_path / "x") as archive:
        rows = json.loads(archive.read("manifest.json"))["rows"]
    assert rows["cuppings_rating"] == count(home, "cuppings_rating")


def test_a_restore_gives_up_when_somebody_keeps_writing(home, backup, monkeypatch):
    monkeypatch.setattr(copies, "_WAIT_SECONDS", 0.3)
    before = contents(home / "coupage.sqlite3")
    with (
        opened(backup) as (_, database),
        closing(sqlite3.connect(home / "coupage.sqlite3", isolation_level=None)) as writer,
    ):
        writer.execute("BEGIN IMMEDIATE")
        with pytest.raises(InputError, match="nothing was replaced"):
            copies._overwrite_sqlite(database, str(home / "coupage.sqlite3"))
        writer.execute("ROLLBACK")
    assert contents(home / "coupage.sqlite3") == before


def test_a_reader_meanwhile_sees_all_of_the_old_and_then_all_of_the_new(home, furnished, backup):
    ruin(home)
    with closing(sqlite3.connect(home / "coupage.sqlite3", isolation_level=None)) as reader:
        reader.execute("BEGIN")
        assert reader.execute("SELECT COUNT(*) FROM cuppings_rating").fetchone() == (0,)
        done = coupage("restore", backup, "--yes", data=home)
        assert (done.returncode, done.stderr) == (0, "")
        assert reader.execute("SELECT COUNT(*) FROM cuppings_rating").fetchone() == (0,)
        reader.execute("COMMIT")
        (now,) = reader.execute("SELECT COUNT(*) FROM cuppings_rating").fetchone()
    assert now == count(furnished, "cuppings_rating")


@pytest.fixture
def postgres() -> Iterator[str]:
    """A throw-away database on the server that the tests may use."""
    if not POSTGRES:
        pytest.skip("COUPAGE_TEST_POSTGRES names no server")
    import psycopg

    name = f"coupage_copies_{os.getpid()}"
    with psycopg.connect(POSTGRES, autocommit=True) as server:
        server.execute(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")
        server.execute(f"CREATE DATABASE {name}")
        yield urlunsplit(urlsplit(POSTGRES)._replace(path=f"/{name}"))
        server.execute(f"DROP DATABASE {name} WITH (FORCE)")


def test_a_copy_moves_to_postgresql_and_back_without_losing_a_row(
    postgres, furnished, backup, tmp_path
):
    import psycopg

    into = coupage("restore", backup, "--yes", data=tmp_path / "p", COUPAGE_DATABASE=postgres)
    assert (into.returncode, into.stderr) == (0, "")
    with psycopg.connect(postgres) as open_:
        (ratings,) = open_.execute("SELECT COUNT(*) FROM cuppings_rating").fetchone()
        (guards,) = open_.execute(
            "SELECT COUNT(*) FROM pg_trigger WHERE NOT tgisinternal"
        ).fetchone()
        # Keys that came with the rows must not be handed out again.
        (last,) = open_.execute("SELECT MAX(id) FROM coffees_lot").fetchone()
        (following,) = open_.execute(
            "SELECT nextval(pg_get_serial_sequence('coffees_lot', 'id'))"
        ).fetchone()
    assert ratings == count(furnished, "cuppings_rating")
    assert guards == triggers(furnished)
    assert following > last

    out = tmp_path / "from-postgres.backup"
    done = coupage("backup", out, data=tmp_path / "p", COUPAGE_DATABASE=postgres)
    assert (done.returncode, done.stderr) == (0, "")
    back = coupage("restore", out, "--yes", data=tmp_path / "s")
    assert (back.returncode, back.stderr) == (0, "")
    assert contents(tmp_path / "s" / "coupage.sqlite3") == contents(furnished / "coupage.sqlite3")
    assert triggers(tmp_path / "s") == triggers(furnished)
