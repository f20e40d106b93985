"""The installation's database, for the commands that work on it."""

from __future__ import annotations

import os
from pathlib import Path

from coupage.errors import InputError

__all__ = ["open_installation", "set_up"]


def set_up() -> None:
    """Make Django ready; the database is not touched.

    Raises
    ------
    InputError
        When the settings make no sense.
    """
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "coupage.web.settings")
    import django
    from django.core.exceptions import ImproperlyConfigured

    try:
        django.setup()
    except ImproperlyConfigured as error:
        raise InputError(f"settings: {error}") from None


def open_installation(*, may_be_new: bool = False) -> None:
    """Make Django ready and bring the database up to date.

    Raises
    ------
    InputError
        When there is no database yet and the command needs one, or it cannot be reached.
    """
    set_up()
    from django.db import OperationalError, connection

    if connection.vendor == "sqlite" and not may_be_new:
        place = Path(connection.settings_dict["NAME"])
        if not place.exists():
            raise InputError(
                f"there is no database at {place} yet; start coupage run once, or name the data "
                "folder with COUPAGE_DATA"
            )
    try:
        _migrate()
    except OperationalError as error:
        raise InputError(f"the database cannot be opened: {error}") from None


def _migrate() -> None:
    from django.core.management import call_command
    from django.db import connection
    from django.db.migrations.executor import MigrationExecutor

    executor = MigrationExecutor(connection)
    if executor.migration_plan(executor.loader.graph.leaf_nodes()):
        call_command("migrate", verbosity=0, interactive=False)
