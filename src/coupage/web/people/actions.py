"""Writes about people and the roastery, one transaction each."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from django.db import transaction

from coupage.errors import InputError
from coupage.web.people import history, queries
from coupage.web.people.models import Person, Roastery, Role

__all__ = [
    "add_person",
    "change_password",
    "change_person",
    "change_roastery",
    "change_show",
    "set_up_roastery",
]

_PERSON_FIELDS = ("sign_in", "name", "role", "is_active")
_ROASTERY_FIELDS = ("name", "currency", "time_zone", "verdict_chance", "low_stock_g")


@transaction.atomic
def set_up_roastery(
    *, roastery_name: str, time_zone: str, currency: str, owner: Person, at: dt.datetime
) -> Roastery:
    """Make the roastery and its first owner, once.

    Raises
    ------
    InputError
        When somebody can sign in already.
    """
    if not queries.is_new():
        raise InputError(
            "this roastery is set up already; sign in, or ask its owner for an account"
        )
    owner.role = Role.OWNER
    owner.save()
    roastery = Roastery.objects.create(name=roastery_name, time_zone=time_zone, currency=currency)
    history.record(roastery, verb="set up", by=owner, at=at)
    return roastery


@transaction.atomic
def add_person(*, person: Person, by: Person, at: dt.datetime) -> Person:
    """Save a new person, whose password is set already."""
    person.save()
    after = history.snapshot(person, _PERSON_FIELDS)
    history.record(person, verb="added", by=by, at=at, after=after)
    return person


@transaction.atomic
def change_person(
    *, person: Person, role: str, is_active: bool, name: str, by: Person, at: dt.datetime
) -> Person:
    """Change a person's name, role, or whether they may sign in.

    Raises
    ------
    InputError
        When the roastery would be left without an owner who can sign in.
    """
    person = Person.objects.select_for_update().get(pk=person.pk)
    before = history.snapshot(person, _PERSON_FIELDS)
    person.name, person.role, person.is_active = name, role, is_active
    if not (is_active and role == Role.OWNER):
        owners = queries.active_owners().select_for_update().exclude(pk=person.pk)
        if not owners:
            raise InputError("somebody must own the roastery; make another person owner first")
    person.save()
    after = history.snapshot(person, _PERSON_FIELDS)
    history.record(person, verb="changed", by=by, at=at, before=before, after=after)
    return person


@transaction.atomic
def change_roastery(
    *,
    name: str,
    currency: str,
    time_zone: str,
    verdict_chance: Decimal,
    low_stock_g: int,
    by: Person,
    at: dt.datetime,
) -> Roastery:
    """Change the settings that all people share."""
    roastery = queries.roastery()
    before = history.snapshot(roastery, _ROASTERY_FIELDS) if roastery.pk else {}
    roastery.name, roastery.currency, roastery.time_zone = name, currency, time_zone
    roastery.verdict_chance, roastery.low_stock_g = verdict_chance, low_stock_g
    roastery.save()
    after = history.snapshot(roastery, _ROASTERY_FIELDS)
    history.record(roastery, verb="changed", by=by, at=at, before=before, after=after)
    return roastery


def change_show(*, person: Person, mass_unit: str, time_zone: str) -> Person:
    """Change how the program shows masses and times to one person."""
    person.mass_unit, person.time_zone = mass_unit, time_zone
    person.save(update_fields=["mass_unit", "time_zone"])
    return person


@transaction.atomic
def change_password(*, person: Person, password: str, at: dt.datetime) -> Person:
    """Give a person a new password, which has been held to the rules already."""
    person.set_password(password)
    person.save(update_fields=["password"])
    history.record(person, verb="changed the password of", by=person, at=at)
    return person
