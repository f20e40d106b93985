"""Requests as our views see them: a signed-in person and htmx's details, both typed.

``LoginRequiredMiddleware`` turns strangers away before a view runs, so a view that is not marked
``login_not_required`` may take a :class:`Request` and rely on ``request.user`` being a person.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.http import HttpRequest

if TYPE_CHECKING:
    from django_htmx.middleware import HtmxDetails

    from coupage.web.people.models import Person

__all__ = ["HtmxRequest", "Request"]


class Request(HttpRequest):
    """A request of a signed-in person."""

    user: Person


class HtmxRequest(Request):
    """A request that went through htmx's middleware; ``bool(request.htmx)`` says who asked."""

    htmx: HtmxDetails
