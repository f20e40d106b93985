"""Tables from the list to the reveal: seen, set up, changed, opened, revealed, reopened."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from coupage.errors import InputError
from coupage.web.common.dates import day_text
from coupage.web.common.feedback import done, not_done
from coupage.web.common.requests import Request
from coupage.web.common.revisions import StaleError, revision_of
from coupage.web.cuppings import forms
from coupage.web.cuppings.access import own_seat, table_for
from coupage.web.cuppings.actions import life, setup
from coupage.web.cuppings.models import Cupping
from coupage.web.cuppings.pages.index import cuppings_page
from coupage.web.cuppings.pages.lists import suggested_name, usual_protocol
from coupage.web.cuppings.pages.own import own_page
from coupage.web.cuppings.pages.result import result_page
from coupage.web.cuppings.pages.table import table_page
from coupage.web.people.access import may, needs

__all__ = ["add", "change", "cupping", "index", "open_table", "reopen", "reveal", "void"]


@needs("join")
@require_safe
def index(request: Request) -> HttpResponse:
    """List the tables: all for readers, the own ones for a taster."""
    return render(request, "cuppings/index.html", {"page": cuppings_page(request)})


@needs("join")
@require_safe
def cupping(request: Request, pk: int) -> HttpResponse:
    """Show one table as it is now: being set up, under way, or its result."""
    table = table_for(request.user, pk)
    if not may(request.user, "see"):
        seat = own_seat(request.user, table)
        return render(request, "cuppings/own.html", {"page": own_page(table, seat)})
    page: dict[str, Any] = {"page": table_page(request.user, table)}
    if table.state != Cupping.State.REVEALED:
        if may(request.user, "work"):
            cups = table.protocol.cups_per_sample
            page |= {
                "batch_form": forms.PourBatchForm(initial={"cups": cups}, auto_id="batch_%s"),
                "sample_form": forms.PourSampleForm(initial={"cups": cups}, auto_id="sample_%s"),
                "seat_form": forms.SeatForm(table=table),
            }
        planned = table.state == Cupping.State.PLANNED
        return render(request, f"cuppings/{'planned' if planned else 'open'}.html", page)
    pair = (request.GET.get("a", ""), request.GET.get("b", ""))
    return render(request, "cuppings/result.html", page | {"result": result_page(table, pair)})


@needs("work")
@require_http_methods(["GET", "POST"])
def add(request: Request) -> HttpResponse:
    """Set up a table; samples and tasters come on the next page."""
    now = timezone.localtime()
    initial = {
        "name": suggested_name(f"{day_text(now)}"),
        "held_at": now.replace(minute=0, second=0, microsecond=0),
        "protocol": usual_protocol(),
    }
    form = forms.CuppingForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        table = setup.add_cupping(
            cupping=form.save(commit=False),
            passes=form.rounds(),
            attributes=list(form.cleaned_data["attributes"]),
            by=request.user,
            at=timezone.now(),
        )
        done(request, f"{table} is set up. Now say what stands on it and who tastes.")
        return redirect("cuppings:cupping", table.pk)
    return render(request, "cuppings/add.html", {"form": form})


@needs("work")
@require_http_methods(["GET", "POST"])
def change(request: Request, pk: int) -> HttpResponse:
    """Change a table; once it is under way, its name, time, protocol and note only."""
    table = table_for(request.user, pk)
    planned = table.state == Cupping.State.PLANNED
    kind = forms.CuppingForm if planned else forms.FactsForm
    form = kind(request.POST or None, instance=table)
    page: dict[str, Any] = {
        "form": form,
        "pk": pk,
        "name": str(table),
        "revision": table.revision,
        "planned": planned,
    }
    if request.method == "POST" and form.is_valid():
        given: dict[str, Any] = {
            "cupping": form.save(commit=False),
            "revision": revision_of(request),
            "by": request.user,
            "at": timezone.now(),
        }
        try:
            if isinstance(form, forms.CuppingForm):
                asked = list(form.cleaned_data["attributes"])
                setup.change_planned(passes=form.rounds(), attributes=asked, **given)
            else:
                setup.change_cupping(**given)
        except StaleError as problem:
            page |= _stale(form, problem)
        except InputError as problem:
            form.add_error(None, f"{str(problem)[0].upper()}{str(problem)[1:]}.")
        else:
            done(request, f"{table} is changed.")
            return redirect("cuppings:cupping", pk)
    return render(request, "cuppings/change.html", page)


def _stale(form: forms.FactsForm, problem: InputError) -> dict[str, Any]:
    saved = Cupping.objects.get(pk=form.instance.pk)
    other = type(form)(instance=saved)
    return {
        "problem": f"{problem}.",
        "differing": [
            (field.label, form[name].value(), other[name].value())
            for name, field in form.fields.items()
            if str(form[name].value()) != str(other[name].value())
        ],
        "name": str(saved),
        "revision": saved.revision,
    }


@needs("work")
@require_POST
def open_table(request: Request, pk: int) -> HttpResponse:
    """Open a table: orders are dealt and rating begins; ``?host`` goes back to that screen."""
    table = table_for(request.user, pk)
    try:
        life.open_cupping(cupping=table, by=request.user, at=timezone.now())
    except InputError as problem:
        not_done(request, f"{str(problem)[0].upper()}{str(problem)[1:]}.")
    else:
        done(request, f"{table} is open. Every taster has an order of their own.")
    return redirect("live:host" if "host" in request.GET else "cuppings:cupping", pk)


@needs("work")
@require_POST
def reveal(request: Request, pk: int) -> HttpResponse:
    """Close a table and reveal what was in the cups."""
    table = table_for(request.user, pk)
    try:
        life.reveal_cupping(cupping=table, by=request.user, at=timezone.now())
    except InputError as problem:
        not_done(request, f"{str(problem)[0].upper()}{str(problem)[1:]}.")
    else:
        done(request, f"{table} is revealed.")
    return redirect("cuppings:cupping", pk)


@needs("work")
@require_http_methods(["GET", "POST"])
def reopen(request: Request, pk: int) -> HttpResponse:
    """Open a revealed table again, saying why."""
    table = table_for(request.user, pk)
    form = forms.ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        reason = form.cleaned_data["reason"]
        try:
            life.reopen_cupping(cupping=table, reason=reason, by=request.user, at=timezone.now())
        except InputError as problem:
            form.add_error(None, f"{str(problem)[0].upper()}{str(problem)[1:]}.")
        else:
            done(request, f"{table} is open again, and out of the beliefs until it is revealed.")
            return redirect("cuppings:cupping", pk)
    return render(request, "cuppings/reopen.html", {"form": form, "table": table})


@needs("work")
@require_POST
def void(request: Request, pk: int) -> HttpResponse:
    """Take a table out of every belief, or put it back (``?back``)."""
    table = table_for(request.user, pk)
    away = "back" not in request.GET
    try:
        setup.void_cupping(cupping=table, void=away, by=request.user, at=timezone.now())
    except InputError as problem:
        not_done(request, f"{problem}.")
    else:
        undo = reverse("cuppings:void", args=[pk]) + ("?back" if away else "")
        done(request, f"{table} is {'void' if away else 'valid again'}.", undo=undo)
    return redirect("cuppings:cupping", pk)
