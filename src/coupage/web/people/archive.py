"""Putting things away and taking them out again, the same for whatever can be ``archived``."""

from __future__ import annotations

import datetime as dt

from django.db import models, transaction
from django.http import HttpResponse
from django.utils import timezone

from coupage.errors import InputError
from coupage.web.common.feedback import both_ways
from coupage.web.common.requests import Request
from coupage.web.people import history
from coupage.web.people.models import Person

__all__ = ["archive", "archive_or_back"]


@transaction.atomic
def archive(thing: models.Model, *, archived: bool, by: Person, at: dt.datetime) -> None:
    """Put a thing away, or take it out again; nothing is deleted.

    Raises
    ------
    InputError
        When it is put away, or in use, already.
    """
    changed = type(thing)._default_manager.filter(pk=thing.pk, archived=not archived)
    if not changed.update(archived=archived):
        raise InputError(f"{thing} is {'put away' if archived else 'in use'} already")
    history.record(thing, verb="put away" if archived else "took out again", by=by, at=at)


def archive_or_back(request: Request, thing: models.Model, to: str) -> HttpResponse:
    """Answer a POST that puts a thing away, or takes it out again (``?back``)."""

    def deed(away: bool) -> None:
        archive(thing, archived=away, by=request.user, at=timezone.now())

    return both_ways(
        request, deed, there=f"{thing} is put away", back=f"{thing} is in use again", to=to
    )
