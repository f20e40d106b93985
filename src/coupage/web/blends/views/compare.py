"""Recipes side by side."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from coupage.web.blends.forms import CompareForm
from coupage.web.blends.pages.compare import compare_page, default_sides
from coupage.web.common.requests import Request
from coupage.web.people.access import needs
from coupage.web.people.queries import roastery

__all__ = ["compare"]


@needs("see")
@require_safe
def compare(request: Request) -> HttpResponse:
    """Hold up to four recipes against each other, any state, or typed."""
    first = {f"recipe_{n}": key for n, key in enumerate(default_sides(), 1)}
    form = CompareForm(request.GET if CompareForm.asked(request.GET) else first or None)
    page, brief = None, None
    if form.is_valid():
        brief = form.cleaned_data["brief"] or form.first_brief()
        page = compare_page(form.sides(), brief, roastery().currency)
    return render(request, "blends/compare.html", {"form": form, "page": page, "brief": brief})
