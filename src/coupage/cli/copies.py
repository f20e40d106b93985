"""Copies of the whole database in one file, and back.

A backup is a ZIP of a manifest and one SQLite database, whichever database the installation runs
on: so a copy of a PostgreSQL installation can be put in place on a laptop, and the other way round,
and a copy of an older version is brought up to date by the usual migrations before it is used.
Sign-ins that were open (sessions) are not copied.

References
----------
.. [1] SQLite, "Online Backup API": a consistent copy while others write.
.. [2] PostgreSQL documentation, 13.2.2: REPEATABLE READ sees one moment.
"""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
import tempfile
import time
import zipfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from coupage.errors import InputError

__all__ = ["Manifest", "holds_data", "opened", "put_in_place", "write_backup"]

_WHAT = "coupage backup"
_FORMAT = 1
_MANIFEST, _DATABASE = "manifest.json", "coupage.sqlite3"
_ALIAS = "copy"
_CHUNK = 1024 * 1024
_MOST_BYTES = 20 * 1024**3
_SESSIONS = "django_session"
_WAIT_SECONDS = 20


@dataclass(frozen=True, slots=True)
class Manifest:
    """What a backup holds. ``rows`` counts the rows of each table; ``made_at`` is ISO 8601."""

    what: str
    format: int
    version: str
    made_at: str
    engine: str
    sha256: str
    size: int
    rows: dict[str, int]


# ---- out -----------------------------------------------------------------------------------------


def write_backup(place: Path, *, made_at: str) -> Manifest:
    """Write all data into one file, readable to its owner only.

    The file appears whole or not at all.
    """
    from django.db import connection

    from coupage import __version__

    with tempfile.TemporaryDirectory(dir=place.parent, prefix=".coupage-backup-") as folder:
        database = Path(folder, _DATABASE)
        if connection.vendor == "sqlite":
            _copy_sqlite(database)
        else:
            _copy_rows_out(database)
        rows = _tidy(database)
        manifest = Manifest(
            what=_WHAT,
            format=_FORMAT,
            version=__version__,
            made_at=made_at,
            engine=connection.vendor,
            sha256=_digest(database),
            size=database.stat().st_size,
            rows=rows,
        )
        packed = Path(folder, "backup")
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr(_MANIFEST, json.dumps(asdict(manifest), indent=2))
            archive.write(database, _DATABASE)
        packed.chmod(0o600)
        packed.replace(place)
    return manifest


def _copy_sqlite(to: Path) -> None:
    from django.db import connection

    connection.ensure_connection()
    target = sqlite3.connect(to)
    try:
        connection.connection.backup(target)
    finally:
        target.close()


def _tidy(database: Path) -> dict[str, int]:
    """Take open sign-ins out, shrink, and count the rows of each table."""
    copy = sqlite3.connect(database, isolation_level=None)
    try:
        copy.execute("PRAGMA journal_mode=DELETE")
        tables = _tables(copy)
        if _SESSIONS in tables:
            copy.execute(f"DELETE FROM {_SESSIONS}")  # noqa: S608 - a constant
        copy.execute("VACUUM")
        return {name: _count(copy, name) for name in tables}
    finally:
        copy.close()


def _tables(copy: sqlite3.Connection) -> list[str]:
    found = copy.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' "
        "ORDER BY name"
    )
    return [name for (name,) in found]


def _count(copy: sqlite3.Connection, table: str) -> int:
    quoted = table.replace('"', '""')
    (count,) = copy.execute(f'SELECT COUNT(*) FROM "{quoted}"').fetchone()  # noqa: S608 - quoted
    return int(count)


def _digest(file: Path) -> str:
    digest = hashlib.sha256()
    with file.open("rb") as stream:
        while chunk := stream.read(_CHUNK):
            digest.update(chunk)
    return digest.hexdigest()


# ---- in ------------------------------------------------------------------------------------------


@contextmanager
def opened(place: Path) -> Iterator[tuple[Manifest, Path]]:
    """A backup's manifest and its database in a temporary place, both checked.

    Raises
    ------
    InputError
        When the file is no backup, damaged, or made by a newer version.
    """
    with tempfile.TemporaryDirectory(prefix="coupage-restore-") as folder:
        database = Path(folder, _DATABASE)
        manifest = _unpacked(place, database)
        _check_database(place, database, manifest)
        yield manifest, database


def _unpacked(place: Path, database: Path) -> Manifest:
    try:
        with zipfile.ZipFile(place) as archive:
            info = archive.getinfo(_MANIFEST)
            if info.file_size > _CHUNK:
                raise InputError(f"{place}: its manifest is too large to be one of Coupage's")
            manifest = _manifest(place, archive.read(_MANIFEST))
            if archive.getinfo(_DATABASE).file_size != manifest.size:
                raise _damaged(place)
            with archive.open(_DATABASE) as packed, database.open("wb") as unpacked:
                while chunk := packed.read(_CHUNK):
                    unpacked.write(chunk)
    except (zipfile.BadZipFile, KeyError, EOFError, NotImplementedError):
        raise InputError(
            f"{place}: is not a whole backup of Coupage; take another copy of it"
        ) from None
    if _digest(database) != manifest.sha256:
        raise _damaged(place)
    return manifest


def _damaged(place: Path) -> InputError:
    return InputError(f"{place}: is damaged (its checksum differs); take another copy of it")


def _unsound(place: Path) -> InputError:
    return InputError(f"{place}: its database is not sound; take another backup")


def _manifest(place: Path, data: bytes) -> Manifest:
    try:
        found = json.loads(data)
        if found.get("what") != _WHAT:
            raise KeyError("what")
        manifest = Manifest(**{name: found[name] for name in Manifest.__slots__})
    except (ValueError, KeyError, AttributeError):
        raise InputError(f"{place}: is not a backup of Coupage") from None
    if manifest.format > _FORMAT:
        raise InputError(
            f"{place}: was made by Coupage {manifest.version}, which is newer; bring this "
            "installation up to date first"
        )
    if not isinstance(manifest.size, int) or not 0 < manifest.size <= _MOST_BYTES:
        raise _damaged(place)
    return manifest


def _check_database(place: Path, database: Path, manifest: Manifest) -> None:
    copy = sqlite3.connect(f"{database.as_uri()}?mode=ro", uri=True)
    try:
        copy.execute("PRAGMA trusted_schema=OFF")
        whole = copy.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        if not whole or copy.execute("PRAGMA foreign_key_check").fetchone() is not None:
            raise _unsound(place)
        applied = set(copy.execute("SELECT app, name FROM django_migrations"))
    except sqlite3.DatabaseError:
        raise _unsound(place) from None
    finally:
        copy.close()
    from django.db.migrations.loader import MigrationLoader

    unknown = applied - set(MigrationLoader(None).disk_migrations)
    if unknown:
        raise InputError(
            f"{place}: was made by Coupage {manifest.version}, which knows more tables than this "
            "version; bring this installation up to date first"
        )


def holds_data() -> bool:
    """Whether anybody has put anything into the installation's database yet."""
    return any(
        model._base_manager.exists()
        for model in _models()
        if model._meta.app_config.name.startswith("coupage.")
    )


def put_in_place(database: Path) -> None:
    """Replace all data of the installation by those of a checked database; all or nothing."""
    from django.core.management import call_command
    from django.db import connection

    with _as_alias(database):
        call_command("migrate", database=_ALIAS, verbosity=0, interactive=False)
        if connection.vendor != "sqlite":
            _copy_rows_in()
            return
    connection.close()
    _overwrite_sqlite(database, os.fspath(connection.settings_dict["NAME"]))


def _overwrite_sqlite(database: Path, place: str) -> None:
    """One transaction of the database itself: whoever reads meanwhile sees all of it or nothing."""
    with closing(sqlite3.connect(database)) as source, closing(sqlite3.connect(place)) as target:
        source.execute("PRAGMA journal_mode=DELETE")
        target.execute("PRAGMA busy_timeout=0")
        source.backup(target, progress=_patience(time.monotonic() + _WAIT_SECONDS), sleep=0.1)


def _patience(end: float) -> Callable[[int, int, int], None]:
    """Stop a copy that another program keeps from writing; by itself it would try for ever."""

    def watch(status: int, _remaining: int, _total: int) -> None:
        if status in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED) and time.monotonic() > end:
            raise InputError(
                "another program keeps writing to the database; nothing was replaced; stop "
                "coupage run and try again"
            )

    return watch


# ---- rows, between PostgreSQL and the copy -------------------------------------------------------


@contextmanager
def _as_alias(database: Path) -> Iterator[None]:
    """Make a SQLite file a database that Django knows, for as long as it is needed."""
    from django.db import connections

    settings = {
        "default": dict(connections.databases["default"]),
        _ALIAS: {"ENGINE": "django.db.backends.sqlite3", "NAME": database},
    }
    connections.databases[_ALIAS] = connections.configure_settings(settings)[_ALIAS]
    try:
        yield
    finally:
        connections[_ALIAS].close()
        del connections[_ALIAS]
        del connections.databases[_ALIAS]


def _copy_rows_out(to: Path) -> None:
    from django.core.management import call_command
    from django.db import connection, transaction

    with _as_alias(to):
        call_command("migrate", database=_ALIAS, verbosity=0, interactive=False)
        with transaction.atomic():
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            _copy_rows("default", _ALIAS)


def _copy_rows_in() -> None:
    _copy_rows(_ALIAS, "default")


def _models() -> list[Any]:
    from django.apps import apps

    return [
        model
        for model in apps.get_models(include_auto_created=True)
        if model._meta.managed and not model._meta.proxy and model._meta.db_table != _SESSIONS
    ]


def _copy_rows(source: str, target: str) -> None:
    """Empty the target's tables and fill them from the source, keys and all."""
    from django.core.management.sql import emit_post_migrate_signal, emit_pre_migrate_signal
    from django.db import connections, transaction

    models = _models()
    into = connections[target]
    with transaction.atomic(using=target):
        # Rows arrive in no particular order; the invariants are up again before anyone sees them.
        emit_pre_migrate_signal(0, False, target)
        _empty(into, models)
        for model in models:
            _copy_model(model, source, target)
        emit_post_migrate_signal(0, False, target)
        into.check_constraints()
        with into.cursor() as cursor:
            from django.core.management.color import no_style

            for statement in into.ops.sequence_reset_sql(no_style(), models):
                cursor.execute(statement)


def _empty(into: Any, models: list[Any]) -> None:
    tables = [into.ops.quote_name(model._meta.db_table) for model in models]
    with into.cursor() as cursor:
        if into.vendor == "postgresql":
            cursor.execute(f"TRUNCATE {', '.join(tables)} CASCADE")
            return
        for table in tables:
            cursor.execute(f"DELETE FROM {table}")  # noqa: S608 - names of our own models


def _copy_model(model: Any, source: str, target: str) -> None:
    """Rows as they are: columns read and written by name, no ``save`` and no defaults between."""
    manager, into = model._base_manager, model._base_manager.using(target)
    batch = []
    for row in manager.using(source).order_by(model._meta.pk.name).iterator(chunk_size=500):
        row._state.db = target
        batch.append(row)
        if len(batch) == 500:
            into.bulk_create(batch)
            batch = []
    if batch:
        into.bulk_create(batch)
