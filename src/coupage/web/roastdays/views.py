"""Pages about roast days: one domain call each."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from coupage.errors import InputError
from coupage.web.common.feedback import done, not_done, sentence
from coupage.web.common.requests import Request
from coupage.web.common.revisions import StaleError, revision_of, stale
from coupage.web.people.access import needs
from coupage.web.roastdays import actions, forms, pages
from coupage.web.roastdays.finding import find
from coupage.web.roastdays.models import DayBatch, DayPlan
from coupage.web.roastdays.repairing import mend_day

__all__ = [
    "add",
    "add_batch",
    "again",
    "change",
    "close",
    "day",
    "index",
    "mend",
    "pin",
    "send",
    "sheet",
    "stop",
    "take_back",
    "unpin",
]


@needs("see")
@require_safe
def index(request: Request) -> HttpResponse:
    """List the roast days."""
    return render(request, "roastdays/index.html", {"days": pages.days_list(request)})


@needs("see")
@require_safe
def day(request: Request, pk: int) -> HttpResponse:
    """Show one roast day: the plan as a picture and a table, and what it meets."""
    return render(request, "roastdays/day.html", {"page": pages.day_page(request, pk)})


@needs("see")
@require_safe
def sheet(request: Request, pk: int, machine: int) -> HttpResponse:
    """Print the roast sheet of one machine."""
    page = pages.sheet_page(request, pk, machine)
    return render(request, "roastdays/sheet.html", {"page": page})


@needs("work")
@require_http_methods(["GET", "POST"])
def add(request: Request) -> HttpResponse:
    """Plan a day."""
    form = forms.DayForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        made = actions.add_day(day=form.save(commit=False), by=request.user, at=timezone.now())
        find(made)
        return redirect("roastdays:day", made.pk)
    return render(request, "roastdays/add.html", {"form": form})


@needs("work")
@require_http_methods(["GET", "POST"])
def change(request: Request, pk: int) -> HttpResponse:
    """Change a day's hours and limits, and plan again."""
    kept = get_object_or_404(DayPlan, pk=pk)
    form = forms.DayForm(request.POST or None, instance=kept)
    page: dict[str, Any] = {"form": form, "pk": pk, "name": str(kept), "revision": kept.revision}
    if request.method == "POST" and form.is_valid():
        try:
            made = actions.change_day(
                day=form.save(commit=False),
                revision=revision_of(request),
                by=request.user,
                at=timezone.now(),
            )
        except StaleError as problem:
            saved = DayPlan.objects.get(pk=pk)
            page |= stale(form, forms.DayForm(instance=saved), problem, saved)
        else:
            find(made)
            return redirect("roastdays:day", pk)
    return render(request, "roastdays/change.html", page)


def _deed(request: Request, pk: int, deed: Callable[[DayPlan], str]) -> HttpResponse:
    """Do something to a day and go back to it; what cannot be done is told there."""
    kept = get_object_or_404(DayPlan, pk=pk)
    try:
        said = deed(kept)
    except InputError as problem:
        not_done(request, sentence(problem))
    else:
        if said:
            done(request, said)
    return redirect("roastdays:day", pk)


def _find_again(kept: DayPlan) -> str:
    if kept.sent_at is not None:
        raise InputError("the plan is at the machines; mend it, or take it back first")
    find(actions.ask(day=kept, at=timezone.now()))
    return ""


@needs("work")
@require_POST
def again(request: Request, pk: int) -> HttpResponse:
    """Plan the day again, with the orders and the stock of now."""
    return _deed(request, pk, _find_again)


@needs("work")
@require_POST
def stop(request: Request, pk: int) -> HttpResponse:
    """Stop the search and keep the best so far."""

    def deed(kept: DayPlan) -> str:
        actions.stop(day=kept, by=request.user, at=timezone.now())
        return "Stopped; this is the best plan so far."

    return _deed(request, pk, deed)


@needs("work")
@require_POST
def pin(request: Request, pk: int, batch: int) -> HttpResponse:
    """Set a batch by hand and plan the rest around it."""
    row = get_object_or_404(DayBatch.objects.select_related("approach__lot"), pk=batch, day=pk)
    form = forms.PinForm(request.POST, unit=request.user.mass_unit, prefix=f"b{batch}")

    def deed(kept: DayPlan) -> str:
        if not form.is_valid():
            raise InputError(_first_error(form))
        actions.pin(batch=row, by=request.user, at=timezone.now(), **form.cleaned_data)
        return _find_again(kept) or "The batch is pinned; the rest is planned around it."

    return _deed(request, pk, deed)


@needs("work")
@require_POST
def unpin(request: Request, pk: int, batch: int) -> HttpResponse:
    """Let the planner decide about a batch again."""
    row = get_object_or_404(DayBatch, pk=batch, day=pk)

    def deed(kept: DayPlan) -> str:
        actions.unpin(batch=row, by=request.user, at=timezone.now())
        return _find_again(kept)

    return _deed(request, pk, deed)


@needs("work")
@require_POST
def add_batch(request: Request, pk: int) -> HttpResponse:
    """Add a batch of one's own and plan the rest around it."""
    form = forms.AddBatchForm(request.POST, unit=request.user.mass_unit, prefix="add")

    def deed(kept: DayPlan) -> str:
        if not form.is_valid():
            raise InputError(_first_error(form))
        if kept.sent_at is not None:
            raise InputError("the plan is at the machines; add the batch to a machine's list there")
        actions.pin_new(day=kept, by=request.user, at=timezone.now(), **form.cleaned_data)
        return _find_again(kept) or "The batch is in; the rest is planned around it."

    return _deed(request, pk, deed)


def _first_error(form: forms.PinForm) -> str:
    name, errors = next(iter(form.errors.items()))
    return f"{form.fields[name].label or name}: {errors[0]}".rstrip(".").lower()


@needs("work")
@require_POST
def send(request: Request, pk: int) -> HttpResponse:
    """Put the plan on the machines' lists and promise its green."""

    def deed(kept: DayPlan) -> str:
        new = actions.send_to_machines(
            day=kept, revision=revision_of(request), by=request.user, at=timezone.now()
        )
        return f"{new} {'batch is' if new == 1 else 'batches are'} at the machines."

    return _deed(request, pk, deed)


@needs("work")
@require_POST
def take_back(request: Request, pk: int) -> HttpResponse:
    """Take what was not charged off the machines' lists."""

    def deed(kept: DayPlan) -> str:
        count = actions.take_back(day=kept, by=request.user, at=timezone.now())
        return f"{count} {'batch is' if count == 1 else 'batches are'} off the lists again."

    return _deed(request, pk, deed)


@needs("work")
@require_POST
def mend(request: Request, pk: int) -> HttpResponse:
    """Take in what came out of the drums and mend the rest of the plan."""
    return _deed(request, pk, lambda kept: mend_day(day=kept, by=request.user, at=timezone.now()))


@needs("work")
@require_POST
def close(request: Request, pk: int) -> HttpResponse:
    """End the day."""

    def deed(kept: DayPlan) -> str:
        left = actions.close_day(day=kept, by=request.user, at=timezone.now())
        return "The day is closed." + (f" {left} planned but not roasted." if left else "")

    return _deed(request, pk, deed)
