"""Every table that goes in or out of an installation, in the order in which they must come in."""

from __future__ import annotations

from importlib import import_module

from coupage.errors import InputError
from coupage.web.common.doors import Door

__all__ = ["door", "doors"]

_APPS = ("coffees", "batches", "cuppings", "blends", "orders", "production")


def doors() -> tuple[Door, ...]:
    """Return all doors. An app's tables are imported here, not before they are asked for."""
    found: list[Door] = []
    for app in _APPS:
        found.extend(import_module(f"coupage.web.{app}.tables").DOORS)
    return tuple(found)


def door(name: str) -> Door:
    """Return the door of that name.

    Raises
    ------
    InputError
        When there is none; the message lists those there are.
    """
    every = {each.name: each for each in doors()}
    if name not in every:
        raise InputError(f"table: there is no table {name!r}; there are {', '.join(every)}")
    return every[name]
