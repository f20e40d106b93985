"""Pages about tables (in the making)."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from coupage.web.common.requests import Request
from coupage.web.cuppings import queries
from coupage.web.cuppings.models import Attribute
from coupage.web.people.access import needs


@needs("join")
@require_safe
def index(request: Request) -> HttpResponse:
    """List the tables."""
    return render(request, "cuppings/index.html", {"tables": queries.cuppings_for(request.user)})


@needs("work")
@require_safe
def add(request: Request) -> HttpResponse:
    """Set up a table."""
    return render(request, "cuppings/index.html", {"tables": []})


@needs("join")
@require_safe
def cupping(request: Request, pk: int) -> HttpResponse:
    """Show one table."""
    table = get_object_or_404(queries.cuppings_for(request.user), pk=pk)
    return render(request, "cuppings/index.html", {"tables": [table]})


@needs("see")
@require_safe
def attributes(request: Request) -> HttpResponse:
    """List the attributes."""
    return render(request, "cuppings/index.html", {"tables": Attribute.objects.all()})
