"""What every request takes from the person who makes it."""

from __future__ import annotations

import zoneinfo
from collections.abc import Callable
from typing import Any

from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from coupage.web.common.views import from_our_page, stale_form
from coupage.web.people import queries

__all__ = ["PersonalTime", "SignInRequired"]


class SignInRequired(LoginRequiredMiddleware):
    """Send strangers to sign in; whoever was signed out while typing keeps what was typed."""

    def handle_no_permission(self, request: HttpRequest, view_func: Any) -> Any:
        # Not over htmx: there the typing stays on the page, and live.js says what happened.
        over_htmx = request.headers.get("HX-Request") == "true"
        if request.method == "POST" and not over_htmx and from_our_page(request):
            return stale_form(request)
        return super().handle_no_permission(request, view_func)


class PersonalTime:
    """Show times in the person's zone, or the roastery's where the person names none."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.user.is_authenticated:
            name = request.user.time_zone or queries.roastery().time_zone
            try:
                zone = zoneinfo.ZoneInfo(name)
            except (zoneinfo.ZoneInfoNotFoundError, ValueError):
                return self.get_response(request)
            with timezone.override(zone):
                return self.get_response(request)
        return self.get_response(request)
