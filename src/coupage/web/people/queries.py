"""Reads about people and the roastery."""

from __future__ import annotations

from django.db.models import QuerySet

from coupage.web.people.models import Person, Roastery, Role

__all__ = ["active_owners", "is_new", "people", "roastery"]


def roastery() -> Roastery:
    """Return the one roastery, or an unsaved one with the defaults before set-up."""
    return Roastery.objects.first() or Roastery(name="Coupage")


def is_new() -> bool:
    """Say whether nobody can sign in yet."""
    return not Person.objects.exists()


def people() -> QuerySet[Person]:
    return Person.objects.all()


def active_owners() -> QuerySet[Person]:
    return Person.objects.filter(role=Role.OWNER, is_active=True)
