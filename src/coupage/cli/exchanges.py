"""The tables that the installation takes in and gives out: the doors that its apps open."""

from __future__ import annotations

from collections.abc import Mapping
from difflib import get_close_matches
from importlib import import_module
from importlib.util import find_spec
from typing import TYPE_CHECKING, TypeVar

from coupage.errors import InputError

if TYPE_CHECKING:
    from coupage.web.common.doors import Door
    from coupage.web.people.models import Person

T = TypeVar("T")

__all__ = ["acting", "chosen", "doors", "in_house_time"]


def doors() -> dict[str, Door]:
    """Every table by its name, in the order of the apps."""
    from django.apps import apps

    found: dict[str, Door] = {}
    for config in apps.get_app_configs():
        tables = f"{config.name}.tables"
        if config.name.startswith("coupage.") and find_spec(tables) is not None:
            found |= {door.name: door for door in import_module(tables).DOORS}
    return found


def chosen(name: str, tables: Mapping[str, T]) -> T:
    """The table of that name.

    Raises
    ------
    InputError
        When there is none, naming the nearest.
    """
    if name not in tables:
        near = get_close_matches(name, tables, n=1)
        hint = f"did you mean {near[0]}? " if near else ""
        raise InputError(f"there is no table {name!r}; {hint}there are {', '.join(tables)}")
    return tables[name]


def in_house_time() -> None:
    """Read and write times of day as the roastery's clock shows them."""
    from django.utils import timezone

    from coupage.web.people.models import Roastery

    roastery = Roastery.objects.first()
    if roastery is not None:
        timezone.activate(roastery.time_zone)


def acting(sign_in: str | None) -> Person:
    """Who is written into the history: the named person, or the roastery's only owner.

    Raises
    ------
    InputError
        When nobody is named and there is no single owner, or the named one may not change things.
    """
    from coupage.web.people.access import may
    from coupage.web.people.models import Person, Role

    active = Person.objects.filter(is_active=True)
    if sign_in is not None:
        person = active.filter(sign_in=sign_in.strip().lower()).first()
        if person is None:
            raise InputError(f"--as: nobody signs in as {sign_in!r}")
        if not may(person, "work"):
            raise InputError(f"--as: {sign_in!r} may not change things; name a roaster or owner")
        return person
    owners = list(active.filter(role=Role.OWNER)[:2])
    if len(owners) != 1:
        raise InputError(
            "say who does this with --as SIGN-IN"
            + ("; there are several owners" if owners else "; there is no owner yet")
        )
    return owners[0]
