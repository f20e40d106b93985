"""Who may do what: one table of rights, one mark on every view.

A view without a mark is a fault that a test finds by walking all addresses.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Concatenate, Literal, ParamSpec

from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.http.response import HttpResponseBase

from coupage.web.common.requests import Request
from coupage.web.people.models import Person, Role

__all__ = ["RIGHTS", "Right", "anyone", "by_ticket", "may", "needs", "strangers"]

Right = Literal["join", "taste", "see", "work", "steer"]
P = ParamSpec("P")

RIGHTS: dict[Right, tuple[str, frozenset[str]]] = {
    "join": ("use an own account", frozenset(Role.values)),
    "taste": ("sit at a table", frozenset({Role.OWNER, Role.ROASTER, Role.TASTER})),
    "see": (
        "read coffees, batches, results, briefs and blends",
        frozenset({Role.OWNER, Role.ROASTER, Role.VIEWER}),
    ),
    "work": ("record, judge, choose and change", frozenset({Role.OWNER, Role.ROASTER})),
    "steer": ("manage people and the roastery's settings", frozenset({Role.OWNER})),
}


def may(person: Person, right: Right) -> bool:
    """Say whether a person has a right."""
    return person.is_active and person.role in RIGHTS[right][1]


def needs(
    right: Right,
) -> Callable[
    [Callable[Concatenate[Request, P], HttpResponse]],
    Callable[Concatenate[Request, P], HttpResponse],
]:
    """Let a view be used only by people with a right; others get a 403 that says whom to ask."""

    def mark(
        view: Callable[Concatenate[Request, P], HttpResponse],
    ) -> Callable[Concatenate[Request, P], HttpResponse]:
        @functools.wraps(view)
        def guarded(request: Request, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
            if not may(request.user, right):
                what, roles = RIGHTS[right]
                whom = " or ".join(
                    Role(role).label.lower() for role in Role.values if role in roles
                )
                raise PermissionDenied(
                    f"To {what} takes the role of {whom}; yours is "
                    f"{Role(request.user.role).label.lower()}. Ask the owner of the roastery."
                )
            return view(request, *args, **kwargs)

        guarded.right = right  # type: ignore[attr-defined]
        return guarded

    return mark


def anyone(view: Callable[P, HttpResponseBase]) -> Callable[P, HttpResponseBase]:
    """Open a view to people who are not signed in."""
    view.right = "anyone"  # type: ignore[attr-defined]
    return login_not_required(view)


def strangers(view: Callable[P, HttpResponseBase]) -> Callable[P, HttpResponseBase]:
    """Open a view to people without an account, on other machines too: a code is typed there."""
    view.right = "strangers"  # type: ignore[attr-defined]
    return login_not_required(view)


def by_ticket(view: Callable[P, HttpResponseBase]) -> Callable[P, HttpResponseBase]:
    """Open a view to whoever holds its signed link; the view itself looks at the link."""
    view.right = "ticket"  # type: ignore[attr-defined]
    return login_not_required(view)
