"""The blend triangle of a brief, and the server's figures to hold the browser's against."""

from __future__ import annotations

from django.http import HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from coupage.errors import InputError
from coupage.web.blends import queries
from coupage.web.blends.pages.triangle import figures, triangle_page
from coupage.web.blends.written import read_recipe
from coupage.web.coffees.queries import approaches
from coupage.web.common.feedback import sentence
from coupage.web.common.requests import Request
from coupage.web.people.access import needs
from coupage.web.people.queries import roastery

__all__ = ["triangle", "triangle_figures"]

MOST_AT_ONCE = 200


@needs("see")
@require_safe
def triangle(request: Request, pk: int) -> HttpResponse:
    """Show the triangle: ``?r=`` holds the recipe, ``?coffees=`` the coffees beside it."""
    brief = get_object_or_404(queries.briefs(), pk=pk)
    problem = ""
    try:
        shares = read_recipe(request.GET.get("r", ""))
    except InputError as error:
        shares, problem = {}, sentence(error)
    keys = [key for key in request.GET.getlist("coffees") if key.isdecimal() and len(key) < 18]
    ticked = list(approaches().filter(pk__in=keys)) if keys else []
    if ticked:
        # Without a coffee that is in the cup it is another recipe: that one begins anew.
        shares = {a: ppm for a, ppm in shares.items() if ppm or a in ticked}
        shares = shares if set(shares) <= set(ticked) else {}
    page = triangle_page(brief, shares, ticked, roastery().currency)
    return render(request, "blends/triangle.html", {"page": page, "unread": problem})


@needs("see")
@require_safe
def triangle_figures(request: Request, pk: int) -> JsonResponse:
    """Return the server's own figures of the recipes ``?r=…&r=…``, as the triangle shows them."""
    brief = get_object_or_404(queries.briefs(), pk=pk)
    try:
        rows = [read_recipe(text) for text in request.GET.getlist("r")[:MOST_AT_ONCE]]
        if not rows or not all(rows):
            raise InputError("r: name a recipe, such as r=12-45.7-55")
        found = figures(brief, rows)
    except InputError as error:
        return JsonResponse({"problem": sentence(error)}, status=400)
    return JsonResponse({"recipes": found})
