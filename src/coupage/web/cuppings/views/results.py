"""What all tables together taught about the ratings themselves."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from coupage.web.common.requests import Request
from coupage.web.cuppings.pages.spread import spread_page, steadiness_page
from coupage.web.people.access import needs

__all__ = ["spread", "steadiness"]


@needs("see")
@require_safe
def spread(request: Request) -> HttpResponse:
    """Show where the spread in the ratings comes from."""
    return render(request, "cuppings/spread.html", {"page": spread_page()})


@needs("taste")
@require_safe
def steadiness(request: Request) -> HttpResponse:
    """Show how tasters rate; a taster sees only the own row."""
    page = steadiness_page(request.user, request.GET.get("taster", ""))
    return render(request, "cuppings/steadiness.html", {"page": page})
