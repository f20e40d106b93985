"""What stands on a table and who sits at it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from coupage.errors import InputError
from coupage.web.common.feedback import done, not_done
from coupage.web.common.requests import Request
from coupage.web.cuppings import forms
from coupage.web.cuppings.access import seat_for, table_for
from coupage.web.cuppings.actions import setup
from coupage.web.cuppings.actions.pouring import pour_batch, pour_trial
from coupage.web.cuppings.actions.seating import seat_guest
from coupage.web.cuppings.models import Cupping, Sample
from coupage.web.cuppings.pages.table import table_page
from coupage.web.people.access import needs

__all__ = ["add_taster", "pour_known", "pour_one_batch", "remove_taster", "take_off", "trial"]


@needs("work")
@require_POST
def pour_one_batch(request: Request, pk: int) -> HttpResponse:
    """Put a batch on the table as it is."""
    table, form = table_for(request.user, pk), forms.PourBatchForm(request.POST, auto_id="batch_%s")

    def deed(values: dict[str, Any]) -> str:
        sample = pour_batch(
            cupping=table,
            batch=values["batch"],
            cups=int(values["cups"]),
            on=timezone.localdate(table.held_at),
            by=request.user,
            at=timezone.now(),
        )
        return f"{sample} stands on the table."

    return _set_up(request, table, form, "batch_form", deed)


@needs("work")
@require_POST
def pour_known(request: Request, pk: int) -> HttpResponse:
    """Put a sample on the table that was made before, or change its number of cups."""
    table, form = (
        table_for(request.user, pk),
        forms.PourSampleForm(request.POST, auto_id="sample_%s"),
    )

    def deed(values: dict[str, Any]) -> str:
        setup.pour_sample(
            cupping=table,
            sample=values["sample"],
            cups=int(values["cups"]),
            by=request.user,
            at=timezone.now(),
        )
        return f"{values['sample']} stands on the table."

    return _set_up(request, table, form, "sample_form", deed)


@needs("work")
@require_POST
def add_taster(request: Request, pk: int) -> HttpResponse:
    """Give a taster or a guest a seat."""
    table = table_for(request.user, pk)
    form = forms.SeatForm(request.POST, table=table)

    def deed(values: dict[str, Any]) -> str:
        seat = seat_guest(
            cupping=table,
            taster=values["taster"],
            guest=values["guest"],
            by=request.user,
            at=timezone.now(),
        )
        return f"{seat.taster} has a seat."

    return _set_up(request, table, form, "seat_form", deed)


def _set_up(
    request: Request,
    table: Cupping,
    form: Any,
    name: str,
    deed: Callable[[dict[str, Any]], str],
) -> HttpResponse:
    """Do what a small form of the table's page asks, or show the page with what is wrong."""
    if form.is_valid():
        try:
            said = deed(form.cleaned_data)
        except InputError as problem:
            said = f"{str(problem)[0].upper()}{str(problem)[1:]}."
            if table.state != Cupping.State.PLANNED:
                # The form that sent this is no longer on the page, so its box cannot say it.
                not_done(request, said)
                return redirect("cuppings:cupping", table.pk)
            form.add_error(None, said)
        else:
            done(request, said)
            return redirect("cuppings:cupping", table.pk)
    cups = table.protocol.cups_per_sample
    page: dict[str, Any] = {
        "page": table_page(request.user, table),
        "batch_form": forms.PourBatchForm(initial={"cups": cups}, auto_id="batch_%s"),
        "sample_form": forms.PourSampleForm(initial={"cups": cups}, auto_id="sample_%s"),
        "seat_form": forms.SeatForm(table=table),
    }
    planned = table.state == Cupping.State.PLANNED
    return render(
        request,
        f"cuppings/{'planned' if planned else 'open'}.html",
        page | {name: form},
        status=422,
    )


@needs("work")
@require_http_methods(["GET", "POST"])
def trial(request: Request, pk: int) -> HttpResponse:
    """Weigh a trial blend from several batches and put it on the table."""
    table = table_for(request.user, pk)
    form = forms.TrialForm(request.POST or None, initial={"cups": table.protocol.cups_per_sample})
    parts = forms.trial_parts(request.POST or None)
    if request.method == "POST" and form.is_valid() and parts.is_valid():
        try:
            sample = pour_trial(
                cupping=table,
                label=form.cleaned_data["label"],
                parts=parts.shares(),
                cups=int(form.cleaned_data["cups"]),
                on=timezone.localdate(table.held_at),
                by=request.user,
                at=timezone.now(),
            )
        except InputError as problem:
            form.add_error(None, f"{str(problem)[0].upper()}{str(problem)[1:]}.")
        else:
            done(request, f"{sample} stands on the table.")
            return redirect("cuppings:cupping", pk)
    return render(request, "cuppings/trial.html", {"form": form, "parts": parts, "table": table})


@needs("work")
@require_POST
def take_off(request: Request, pk: int, sample: int) -> HttpResponse:
    """Take a sample off the table."""
    table, taken = table_for(request.user, pk), get_object_or_404(Sample, pk=sample)
    try:
        setup.remove_sample(cupping=table, sample=taken, by=request.user, at=timezone.now())
    except InputError as problem:
        not_done(request, f"{str(problem)[0].upper()}{str(problem)[1:]}.")
    else:
        done(request, f"{taken} is off the table; the sample is kept.")
    return redirect("cuppings:cupping", pk)


@needs("work")
@require_POST
def remove_taster(request: Request, pk: int) -> HttpResponse:
    """Take a seat away that holds nothing."""
    seat = seat_for(request.user, pk)
    table, taster = seat.cupping, seat.taster
    try:
        setup.remove_seat(seat=seat, by=request.user, at=timezone.now())
    except InputError as problem:
        not_done(request, f"{problem}.")
    else:
        done(request, f"{taster} has no seat any more.")
    return redirect("cuppings:cupping", table.pk)
