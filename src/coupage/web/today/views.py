"""The first page of the day."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from coupage.web.common.requests import Request
from coupage.web.people.access import needs
from coupage.web.today import pages

__all__ = ["today"]


@needs("join")
@require_safe
def today(request: Request) -> HttpResponse:
    """Show what waits."""
    return render(request, "today/today.html", {"page": pages.today_page(request)})
