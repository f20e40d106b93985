"""What every template may ask about the person: rights, unit and currency."""

from __future__ import annotations

from django.http import HttpRequest
from django.utils.functional import SimpleLazyObject

from coupage.web.people.access import may
from coupage.web.people.queries import roastery

__all__ = ["person"]


def person(request: HttpRequest) -> dict[str, object]:
    """Offer ``can_work``, ``can_see``, ``can_steer``, ``unit`` and ``currency``."""
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return {}
    return {
        "can_see": may(user, "see"),
        "can_work": may(user, "work"),
        "can_steer": may(user, "steer"),
        "unit": user.mass_unit,
        "currency": SimpleLazyObject(lambda: roastery().currency),
    }
