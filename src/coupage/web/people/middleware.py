"""What every request takes from the person who makes it."""

from __future__ import annotations

import zoneinfo
from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from coupage.web.people import queries

__all__ = ["PersonalTime"]


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
