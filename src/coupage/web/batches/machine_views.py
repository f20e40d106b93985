"""The list at the machine: big buttons, one deed each."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from coupage.errors import InputError
from coupage.web.batches import forms, machine_actions, machine_pages, queries
from coupage.web.batches.models import Batch, PlannedBatch
from coupage.web.batches.pages import clock
from coupage.web.common.feedback import both_ways, done, not_done, sentence
from coupage.web.common.requests import Request
from coupage.web.people.access import needs

__all__ = [
    "at_machine",
    "at_machines",
    "charge",
    "drop",
    "first_crack",
    "label",
    "labels",
    "off_list",
    "plan",
    "uncharge",
    "weigh",
]


@needs("work")
@require_safe
def at_machines(request: Request) -> HttpResponse:
    """Go to the machine that was used last, or let one be chosen."""
    machines = list(queries.machines())
    last = request.session.get("machine")
    if len(machines) == 1 or (last and "choose" not in request.GET):
        found = [m for m in machines if m.pk == last] or machines[:1]
        if found:
            return redirect("batches:at-machine", found[0].pk)
    return render(request, "batches/at_machines.html", {"machines": machines})


@needs("work")
@require_safe
def at_machine(request: Request, pk: int) -> HttpResponse:
    """Show today's list at a machine."""
    machine = get_object_or_404(queries.machines(), pk=pk)
    request.session["machine"] = machine.pk
    page = machine_pages.machine_page(request, machine)
    return render(request, "batches/at_machine.html", {"page": page})


@needs("work")
@require_POST
def plan(request: Request, pk: int) -> HttpResponse:
    """Put a batch on the list, or charge it at once."""
    machine = get_object_or_404(queries.machines(), pk=pk)
    form = forms.PlanForm(request.POST, unit=request.user.mass_unit, prefix="plan")
    if not form.is_valid():
        page = machine_pages.machine_page(request, machine, plan=form)
        return render(request, "batches/at_machine.html", {"page": page}, status=422)
    now = timezone.now()
    planned = machine_actions.plan_batch(
        approach=form.cleaned_data["version"].approach,
        machine=machine,
        on=timezone.localdate(now),
        green_g=form.cleaned_data["green_g"],
        note=form.cleaned_data["note"],
        by=request.user,
        at=now,
    )
    if "charge" in request.POST:
        return charge(request, planned.pk)
    done(request, f"{planned.approach} is on the list.")
    return redirect("batches:at-machine", pk)


@needs("work")
@require_POST
def off_list(request: Request, pk: int) -> HttpResponse:
    """Take a planned batch off the list, or put it back (``?back``)."""
    planned = get_object_or_404(PlannedBatch.objects.select_related("approach__lot"), pk=pk)

    def deed(away: bool) -> None:
        machine_actions.take_off_list(planned=planned, off=away, by=request.user, at=timezone.now())

    return both_ways(
        request,
        deed,
        there=f"{planned.approach} is off the list",
        back=f"{planned.approach} is on the list again",
        to=f"/batches/at/{planned.machine_id}/",
    )


@needs("work")
@require_POST
def charge(request: Request, pk: int) -> HttpResponse:
    """Charge a planned batch now."""
    planned = get_object_or_404(PlannedBatch, pk=pk)
    try:
        batch = machine_actions.charge(planned=planned, by=request.user, at=timezone.now())
    except InputError as problem:
        not_done(request, sentence(problem))
    else:
        undo = f"/batches/{batch.pk}/uncharge/"
        done(request, f"{batch} is in the drum.", undo=undo)
    return redirect("batches:at-machine", planned.machine_id)


def _deed(pk: int, request: Request, deed: Callable[[Batch], str], undo: str = "") -> HttpResponse:
    """Do something to a batch at the machine and go back to the list."""
    batch = get_object_or_404(Batch, pk=pk)
    try:
        said = deed(batch)
    except InputError as problem:
        not_done(request, sentence(problem))
    else:
        done(request, said, undo=undo)
    if batch.machine_id is None:
        return redirect("batches:batch", pk)
    return redirect("batches:at-machine", batch.machine_id)


@needs("work")
@require_POST
def uncharge(request: Request, pk: int) -> HttpResponse:
    """Take back a charge that was pressed by mistake."""

    def deed(batch: Batch) -> str:
        machine_actions.take_back_charge(batch=batch, by=request.user, at=timezone.now())
        return f"{batch} is taken back; it stands on the list again."

    return _deed(pk, request, deed)


@needs("work")
@require_POST
def first_crack(request: Request, pk: int) -> HttpResponse:
    """Write down the first crack."""

    def deed(batch: Batch) -> str:
        changed = machine_actions.mark_first_crack(batch=batch, by=request.user, at=timezone.now())
        return f"First crack of {changed.number} at {clock(changed.first_crack_s)}."

    return _deed(pk, request, deed)


@needs("work")
@require_POST
def drop(request: Request, pk: int) -> HttpResponse:
    """Drop a batch now, or say that it is still in the drum (``?back``)."""

    def deed(batch: Batch) -> str:
        at = timezone.now()
        if "back" in request.GET:
            machine_actions.take_back_drop(batch=batch, by=request.user, at=at)
            return f"{batch} is in the drum again."
        changed = machine_actions.drop(batch=batch, by=request.user, at=at)
        return f"{batch} dropped at {clock(changed.seconds)}; weigh it next."

    undo = "" if "back" in request.GET else f"{request.path}?back"
    return _deed(pk, request, deed, undo)


@needs("work")
@require_POST
def weigh(request: Request, pk: int) -> HttpResponse:
    """Write down what came out."""
    batch = get_object_or_404(Batch.objects.select_related("machine"), pk=pk)
    if batch.machine is None:
        raise Http404("This batch names no machine; weigh it on its own page.")
    form = forms.WeighForm(request.POST, unit=request.user.mass_unit, prefix=f"b{pk}")
    if form.is_valid():
        try:
            weighed = machine_actions.weigh(
                batch=batch, by=request.user, at=timezone.now(), **form.cleaned_data
            )
        except InputError as problem:
            form.add_error("roasted_g", sentence(problem))
        else:
            lost = 100 * (1 - (weighed.roasted_g or 0) / weighed.green_g)
            done(request, f"{batch} is weighed: loss {lost:.1f} %.")
            return redirect("batches:at-machine", batch.machine.pk)
    page = machine_pages.machine_page(request, batch.machine, weighing=(pk, form))
    return render(request, "batches/at_machine.html", {"page": page}, status=422)


@needs("see")
@require_safe
def label(request: Request, pk: int) -> HttpResponse:
    """The jar label of one batch's sample."""
    found = machine_pages.jar_labels(request, queries.batches().filter(pk=pk))
    if not found:
        raise Http404("There is no such batch.")
    page = {"labels": found, "title": str(found[0].batch)}
    return render(request, "batches/labels.html", page)


@needs("see")
@require_safe
def labels(request: Request) -> HttpResponse:
    """The jar labels of a day, today's unless ``?on=`` names one."""
    try:
        on = dt.date.fromisoformat(request.GET.get("on", ""))
    except ValueError:
        on = timezone.localdate()
    start = timezone.make_aware(dt.datetime.combine(on, dt.time()))
    of_day = queries.batches().filter(
        void=False, roasted_at__gte=start, roasted_at__lt=start + dt.timedelta(days=1)
    )
    found = machine_pages.jar_labels(request, of_day.order_by("roasted_at", "id"))
    page = {"labels": found, "title": "Jar labels", "on": on}
    return render(request, "batches/labels.html", page)
