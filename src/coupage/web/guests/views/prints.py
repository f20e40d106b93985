"""Sheets of a test that print: pouring, serving, slips, labels."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from coupage.web.common.requests import Request
from coupage.web.guests.pages import prints
from coupage.web.guests.views.tests import test_of
from coupage.web.people.access import needs

__all__ = ["labels", "pouring", "serving", "slips"]


@needs("work")
@require_safe
def pouring(request: Request, pk: int) -> HttpResponse:
    """Show which codes are filled from which coffee, to whoever asks for the key."""
    test = test_of(pk)
    if "open" not in request.GET:
        return render(request, "guests/sealed.html", {"test": test})
    return render(request, "guests/pouring.html", {"test": test, "pours": prints.pours(test)})


@needs("work")
@require_safe
def serving(request: Request, pk: int) -> HttpResponse:
    """Show the trays as they are served: codes only."""
    test = test_of(pk)
    page = {"test": test, "sets": prints.served(test), "reference": test.kind == "duo-trio"}
    return render(request, "guests/serving.html", page)


@needs("work")
@require_safe
def slips(request: Request, pk: int) -> HttpResponse:
    """Show slips on which guests mark their answer by pen."""
    test = test_of(pk)
    told, asked = prints.slip_words(test)
    page = {"test": test, "sets": prints.served(test), "told": told, "asked": asked}
    return render(request, "guests/slips.html", page)


@needs("work")
@require_safe
def labels(request: Request, pk: int) -> HttpResponse:
    """Show cup labels: codes only."""
    test = test_of(pk)
    return render(request, "guests/labels.html", {"test": test, "codes": prints.all_codes(test)})
