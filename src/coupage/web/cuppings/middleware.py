"""A page that needs beliefs which are still being worked out says so, and comes back by itself."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from coupage.web.cuppings.kept import BeliefsPending, impatient

__all__ = ["WorkingOut"]


class WorkingOut:
    """Show a note instead of a page that would have to wait for a long fit."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        token = impatient.set(request.method in {"GET", "HEAD"})
        try:
            return self.get_response(request)
        finally:
            impatient.reset(token)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if not isinstance(exception, BeliefsPending):
            return None
        waited = int((timezone.now() - exception.since).total_seconds())
        page = render(request, "cuppings/working_out.html", {"waited": waited}, status=202)
        page.headers["Refresh"] = "1"
        # A part of a page cannot hold the note: the whole page is asked for again.
        page.headers["HX-Refresh"] = "true"
        return page
