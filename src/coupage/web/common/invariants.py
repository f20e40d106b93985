"""Rules that a check constraint cannot say, kept by the database itself through triggers.

A check constraint sees one row. "The shares of a recipe add up to 100 %" and "the cup, the seat and
the pass of a rating belong to one cupping" span rows, so they are triggers, the same on SQLite and
PostgreSQL. They are taken down before a migration (SQLite rebuilds tables and would trip over
them) and put up again after it, so that they can never be forgotten in a migration.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.apps import AppConfig
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models.signals import post_migrate, pre_migrate

__all__ = ["Trigger", "guard", "kept_ledger", "sealed_sum"]


@dataclass(frozen=True, slots=True)
class Trigger:
    """Refuse an event on a table while a condition over ``NEW`` and ``OLD`` holds.

    Attributes
    ----------
    table, event
        Such as ``"blends_share"`` and ``"INSERT"`` or ``"UPDATE OF sealed"``.
    refuse_when
        SQL condition in the part of the language that both databases share. ``{lock}`` after a
        SELECT makes PostgreSQL wait for whoever is just changing that row; SQLite has one writer
        at a time and needs nothing.
    message
        The sentence that the refused writer gets.
    first
        A statement that PostgreSQL runs before the condition is looked at, such as a lock on a
        parent row: the condition then sees what those waited for have written. SQLite, with one
        writer at a time, leaves it out.
    """

    name: str
    table: str
    event: str
    refuse_when: str
    message: str
    first: str = ""

    def up(self, vendor: str) -> list[str]:
        says = self.message.replace("'", "''")
        condition = self.refuse_when.replace("{lock}", "" if vendor == "sqlite" else " FOR SHARE")
        if vendor == "sqlite":
            begin = f"CREATE TRIGGER {self.name} BEFORE {self.event} ON {self.table}"
            return [f"{begin} WHEN {condition} BEGIN SELECT RAISE(ABORT, '{says}'); END"]
        back = "OLD" if self.event.startswith("DELETE") else "NEW"
        says = says.replace("%", "%%")
        function = (
            f"CREATE OR REPLACE FUNCTION {self.name}() RETURNS trigger LANGUAGE plpgsql AS $$ "
            f"BEGIN {self.first} IF {condition} THEN RAISE EXCEPTION '{says}' "
            f"USING ERRCODE = 'check_violation'; END IF; RETURN {back}; END $$"
        )
        trigger = (
            f"CREATE TRIGGER {self.name} BEFORE {self.event} ON {self.table} "
            f"FOR EACH ROW EXECUTE FUNCTION {self.name}()"
        )
        return [function, trigger]

    def down(self, vendor: str) -> str:
        on = "" if vendor == "sqlite" else f" ON {self.table}"
        return f"DROP TRIGGER IF EXISTS {self.name}{on}"


def sealed_sum(*, parent: str, child: str, link: str, of: str, total: int) -> list[Trigger]:
    """Make a parent's ``sealed`` mark mean: its parts add up, and stay as they are.

    A parent is born open, gets its parts, and is sealed; sealing is refused unless the parts'
    ``share_ppm`` add up to ``total``; parts of a sealed parent cannot be added, changed or taken.
    """

    def holds(row: str) -> str:
        return f"(SELECT sealed FROM {parent} WHERE id = {row}.{link}{{lock}})"

    fixed = f"{of} is sealed; open it before its shares are changed"
    short = f"the shares of {of} must add up to 100 %"
    parts = f"(SELECT COALESCE(SUM(share_ppm), 0) FROM {child} WHERE {link} = NEW.id)"
    return [
        Trigger(f"{child}_put", child, "INSERT", holds("NEW"), fixed),
        Trigger(f"{child}_move", child, "UPDATE", f"{holds('OLD')} OR {holds('NEW')}", fixed),
        Trigger(f"{child}_take", child, "DELETE", holds("OLD"), fixed),
        Trigger(f"{parent}_born", parent, "INSERT", "NEW.sealed", short),
        Trigger(
            f"{parent}_seal",
            parent,
            "UPDATE OF sealed",
            f"NEW.sealed AND {parts} <> {total}",
            short,
        ),
    ]


def kept_ledger(
    ledger: str, *, parent: str, link: str, amount: str, short: str, made: str = "0"
) -> list[Trigger]:
    """Keep a ledger only ever added to, and its sum at every date at or above nothing.

    Parameters
    ----------
    ledger, parent, link
        Table of the lines, table of what they belong to, and the column that leads there.
    amount
        Column of the lines that is added up; lines also have ``on``, the date they count from.
    short
        What is said when less than nothing would be left, at that date or a later one.
    made
        SQL for what is there before all lines.

    Notes
    -----
    The parent's row is the lock: of two people who take the last of it one waits, and is refused.
    A line can go only together with its parent, as when a whole installation is emptied.
    """
    whose = f"{link} = NEW.{link}"
    before = f'(SELECT COALESCE(SUM({amount}), 0) FROM {ledger} WHERE {whose} AND "on" <= NEW."on")'
    later = (
        f'(SELECT SUM(upto.{amount}) FROM {ledger} upto WHERE upto.{whose} AND upto."on" <= l."on")'
    )
    fixed = "a ledger is only ever added to; enter a line that corrects it"
    return [
        Trigger(
            f"{ledger}_put",
            ledger,
            "INSERT",
            f"NEW.{amount} < 0 AND ({made} + {before} + NEW.{amount} < 0 OR EXISTS "
            f'(SELECT 1 FROM {ledger} l WHERE l.{whose} AND l."on" > NEW."on" '
            f"AND {made} + {later} + NEW.{amount} < 0))",
            short,
            first=f"PERFORM 1 FROM {parent} WHERE id = NEW.{link} FOR NO KEY UPDATE;",
        ),
        Trigger(f"{ledger}_move", ledger, "UPDATE", "1 = 1", fixed),
        Trigger(
            f"{ledger}_take",
            ledger,
            "DELETE",
            f"EXISTS (SELECT 1 FROM {parent} WHERE id = OLD.{link})",
            fixed,
        ),
    ]


def guard(app: AppConfig, triggers: Iterable[Trigger]) -> None:
    """Keep an app's triggers up, and down while its tables are being migrated."""
    triggers = tuple(triggers)

    def take_down(using: str, **_: Any) -> None:
        connection = connections[using]
        for trigger in _on_tables(connection, triggers):
            _run(connection, [trigger.down(connection.vendor)])

    def put_up(using: str, **_: Any) -> None:
        connection = connections[using]
        for trigger in _on_tables(connection, triggers):
            _run(connection, [trigger.down(connection.vendor), *trigger.up(connection.vendor)])

    key = f"{app.label}-invariants"
    pre_migrate.connect(take_down, weak=False, dispatch_uid=f"{key}-down")
    post_migrate.connect(put_up, sender=app, weak=False, dispatch_uid=f"{key}-up")


def _on_tables(connection: BaseDatabaseWrapper, triggers: tuple[Trigger, ...]) -> list[Trigger]:
    there = set(connection.introspection.table_names())
    return [trigger for trigger in triggers if trigger.table in there]


def _run(connection: BaseDatabaseWrapper, statements: list[str]) -> None:
    with connection.cursor() as cursor:
        for statement in statements:
            # None: the statement holds no parameters, so a per cent sign is only itself.
            cursor.execute(statement, None)
