"""The wall of a table."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from coupage.web.common.requests import Request
from coupage.web.cuppings.access import table_for
from coupage.web.live.pages.wall import wall_page
from coupage.web.people.access import needs

__all__ = ["wall"]


@needs("see")
@require_safe
def wall(request: Request, pk: int) -> HttpResponse:
    """Show the clock and the code to join; after the reveal, the table sample by sample."""
    table = table_for(request.user, pk)
    page = {"page": wall_page(request, table, timezone.now())}
    return render(request, "live/wall.html", page)
