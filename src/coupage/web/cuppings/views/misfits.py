"""What does not fit, and what somebody does about it."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from coupage.errors import InputError
from coupage.web.common.feedback import done, not_done, sentence
from coupage.web.common.requests import Request
from coupage.web.cuppings import forms
from coupage.web.cuppings.access import table_for
from coupage.web.cuppings.actions import mending
from coupage.web.cuppings.models import Cupping, Mend, Rating, Sample, Seat
from coupage.web.cuppings.pages.misfits import misfits_page
from coupage.web.people.access import needs

__all__ = ["exchange", "mend", "of_all", "of_table", "undo"]


@needs("work")
@require_safe
def of_all(request: Request) -> HttpResponse:
    """Show what does not fit in all tables together."""
    return render(request, "cuppings/misfits.html", {"page": misfits_page(None)})


@needs("work")
@require_safe
def of_table(request: Request, pk: int) -> HttpResponse:
    """Show what does not fit in one revealed table."""
    table = table_for(request.user, pk)
    if table.state != Cupping.State.REVEALED or table.void:
        raise Http404("What does not fit is looked for once a table is revealed.")
    return render(request, "cuppings/misfits.html", {"page": misfits_page(table)})


@needs("work")
@require_http_methods(["GET", "POST"])
def mend(request: Request, pk: int) -> HttpResponse:
    """Correct a rating, or set it aside (``?aside``), saying why."""
    found = Rating.objects.select_related("cup__cupping", "seat__taster", "attribute", "round")
    rating = get_object_or_404(found, pk=pk)
    aside = "aside" in request.GET
    form: Any = (
        forms.WhyForm(request.POST or None)
        if aside
        else forms.CorrectForm(request.POST or None, initial={"value": request.GET.get("to", "")})
    )
    if request.method == "POST" and form.is_valid():
        try:
            made = mending.mend_rating(
                rating=rating,
                value=None if aside else form.cleaned_data["value"],
                reason=form.cleaned_data["reason"],
                by=request.user,
                at=timezone.now(),
            )
        except InputError as problem:
            form.add_error(None, sentence(problem))
        else:
            said = "The rating is set aside." if aside else "The rating is corrected."
            return _mended(request, made, said, rating.cup.cupping)
    page = {"form": form, "rating": rating, "aside": aside}
    return render(request, "cuppings/mend.html", page)


@needs("work")
@require_http_methods(["GET", "POST"])
def exchange(request: Request, pk: int, first: int, second: int) -> HttpResponse:
    """Exchange what a taster rated of two samples, saying why."""
    seat = get_object_or_404(Seat.objects.select_related("cupping", "taster"), pk=pk)
    there = Sample.objects.filter(cups__cupping=seat.cupping_id).distinct()
    one, two = get_object_or_404(there, pk=first), get_object_or_404(there, pk=second)
    form = forms.WhyForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            made = mending.exchange_codes(
                seat=seat,
                first=one,
                second=two,
                reason=form.cleaned_data["reason"],
                by=request.user,
                at=timezone.now(),
            )
        except InputError as problem:
            form.add_error(None, sentence(problem))
        else:
            return _mended(request, made[0], "The ratings are exchanged.", seat.cupping)
    page = {"form": form, "seat": seat, "first": one, "second": two}
    return render(request, "cuppings/exchange.html", page)


@needs("work")
@require_POST
def undo(request: Request, pk: int) -> HttpResponse:
    """Let what was mended count again as the taster gave it."""
    found = Mend.objects.select_related("rating__cup__cupping")
    there = get_object_or_404(found, pk=pk)
    try:
        mending.undo_mend(mend=there, by=request.user, at=timezone.now())
    except InputError as problem:
        not_done(request, sentence(problem))
    else:
        done(request, "It counts again as the taster gave it.")
    return redirect("cuppings:misfits", there.rating.cup.cupping_id)


def _mended(request: Request, made: Mend, said: str, table: Cupping) -> HttpResponse:
    undo = reverse("cuppings:undo-mend", args=[made.pk])
    done(request, f"{said} What the tables taught is worked out anew.", undo=undo)
    return redirect("cuppings:misfits", table.pk)
