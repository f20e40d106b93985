"""Tickets: signed links, each of which opens one place and no other page."""

from __future__ import annotations

import datetime as dt
import functools
from collections.abc import Callable
from typing import Concatenate, ParamSpec

from django.core.signing import BadSignature, Signer
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.utils.cache import patch_cache_control, patch_vary_headers

from coupage.errors import InputError
from coupage.web.live.joining.opens import opens
from coupage.web.live.models import JoinCode, Ticket
from coupage.web.people.access import by_ticket

__all__ = ["clean_name", "come_in", "holds", "revoke_ticket", "ticket_for", "ticket_of", "token"]

P = ParamSpec("P")
_SIGNER = Signer(sep="~", salt="coupage.live.ticket")
_GONE = "This link opens nothing any more. Ask the host for the code of the table."


def token(ticket: Ticket) -> str:
    """Return the signed text that opens a ticket's place."""
    return _SIGNER.sign(str(ticket.pk))


def ticket_of(text: str) -> Ticket | None:
    """Return the ticket of a signed text, or None when it is none of ours or was revoked."""
    try:
        pk = int(_SIGNER.unsign(text))
    except (BadSignature, ValueError):
        return None
    return Ticket.objects.filter(pk=pk, revoked_at=None).first()


def holds(
    kind: str,
) -> Callable[
    [Callable[Concatenate[HttpRequest, Ticket, P], HttpResponse]],
    Callable[Concatenate[HttpRequest, P], HttpResponseBase],
]:
    """Open a view to whoever holds a ticket of that kind, and to nobody else.

    The address carries the signed text as ``token``; the view gets the ticket in its place.
    """

    def mark(
        view: Callable[Concatenate[HttpRequest, Ticket, P], HttpResponse],
    ) -> Callable[Concatenate[HttpRequest, P], HttpResponseBase]:
        @functools.wraps(view)
        def guarded(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
            ticket = ticket_of(str(kwargs.pop("token")))
            if ticket is None or ticket.kind != kind:
                raise Http404(_GONE)
            response = view(request, ticket, *args, **kwargs)
            patch_cache_control(response, private=True, no_cache=True)
            patch_vary_headers(response, ["Cookie"])
            return response

        return by_ticket(guarded)

    return mark


def clean_name(typed: str) -> str:
    """Return a name as it is kept: single spaces, nothing that cannot be seen.

    Raises
    ------
    InputError
        When nothing is left, or too much.
    """
    name = " ".join("".join(c for c in typed if c.isprintable()).split())
    if not name:
        raise InputError("type the name that the host will know you by")
    if len(name) > 60:
        raise InputError(f"that name has {len(name)} letters; 60 are the most")
    return name


@transaction.atomic
def come_in(*, code: JoinCode, name: str, once: str, at: dt.datetime) -> Ticket:
    """Give a stranger who has the code a place, and the ticket to it.

    Sent twice with the same ``once``, it gives one place.

    Raises
    ------
    InputError
        When nobody can join now, or the name will not do.
    """
    # Whoever joins by the same code waits here for the other.
    code = JoinCode.objects.select_for_update().get(pk=code.pk)
    if code.revoked_at is not None:
        raise InputError("this code is not valid any more; ask the host for the new one")
    there = Ticket.objects.filter(once=once[:32]).first() if once else None
    if there is not None and (there.kind, there.key) == (code.kind, code.key):
        return there
    name, what = clean_name(name), opens(code.kind)
    refusal = what.refusal(code.key)
    if refusal:
        raise InputError(refusal.removesuffix("."))
    place = what.seat(code.key, name=name, at=at)
    ticket = ticket_for(kind=code.kind, key=code.key, place=place, name=name, at=at)
    ticket.name, ticket.code, ticket.once, ticket.seen_at = name, code, once[:32] or None, at
    ticket.save()
    return ticket


@transaction.atomic
def ticket_for(*, kind: str, key: int, place: int, name: str, at: dt.datetime) -> Ticket:
    """Return the ticket to a place that is there already; a new one where none is valid."""
    Ticket.objects.bulk_create(
        [Ticket(kind=kind, key=key, place=place, name=name, made_at=at)], ignore_conflicts=True
    )
    return Ticket.objects.get(kind=kind, place=place, revoked_at=None)


@transaction.atomic
def revoke_ticket(*, ticket: Ticket, at: dt.datetime) -> None:
    """End a link; what was entered through it stays."""
    Ticket.objects.filter(pk=ticket.pk, revoked_at=None).update(revoked_at=at)
