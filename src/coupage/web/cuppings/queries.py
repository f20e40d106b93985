"""Reads about tables and what stands on them."""

from __future__ import annotations

from django.db.models import QuerySet

from coupage.web.cuppings.models import Cupping
from coupage.web.people.access import may
from coupage.web.people.models import Person

__all__ = ["cuppings", "cuppings_for"]


def cuppings() -> QuerySet[Cupping]:
    """Return all tables with their protocol and host."""
    return Cupping.objects.select_related("protocol", "host")


def cuppings_for(person: Person) -> QuerySet[Cupping]:
    """Return the tables a person may know of: readers all of them, a taster those with a seat."""
    tables = cuppings()
    if may(person, "see"):
        return tables
    return tables.filter(
        seats__taster__person=person, void=False, state__in=["open", "revealed"]
    ).distinct()
