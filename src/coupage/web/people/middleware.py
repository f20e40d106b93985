"""What every request takes from the person who makes it."""

from __future__ import annotations

import zoneinfo
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from coupage.web.common.outside import is_trusted_line
from coupage.web.common.views import from_our_page, stale_form
from coupage.web.people import queries

__all__ = ["OnlyByCodeFromOutside", "PersonalTime", "SignInRequired"]


class SignInRequired(LoginRequiredMiddleware):
    """Send strangers to sign in; whoever was signed out while typing keeps what was typed."""

    def handle_no_permission(self, request: HttpRequest, view_func: Any) -> Any:
        # Not over htmx: there the typing stays on the page, and live.js says what happened.
        over_htmx = request.headers.get("HX-Request") == "true"
        if request.method == "POST" and not over_htmx and from_our_page(request):
            return stale_form(request)
        return super().handle_no_permission(request, view_func)


class OnlyByCodeFromOutside:
    """Where the local network is served without TLS, let other machines join by a code only.

    A password or a session on an open line could be read by anybody on the same network, so
    neither is asked for or taken there.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: Any, _args: Any, _kwargs: Any
    ) -> HttpResponse | None:
        if not settings.LAN_URL or is_trusted_line(request):
            return None
        if getattr(view, "right", "") in {"strangers", "ticket"}:
            return None
        return render(request, "people/only_by_code.html", status=403)


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
