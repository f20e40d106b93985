"""Pages about batches and machines: one domain call each."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from coupage.errors import InputError
from coupage.web.batches import actions, forms, pages
from coupage.web.batches.models import Batch, Machine
from coupage.web.common.feedback import both_ways, done, sentence
from coupage.web.common.requests import Request
from coupage.web.common.revisions import StaleError, revision_of, stale
from coupage.web.people.access import needs
from coupage.web.people.archive import archive_or_back

__all__ = [
    "add",
    "add_machine",
    "archive_machine",
    "batch",
    "change",
    "change_machine",
    "index",
    "judge",
    "machines",
    "void",
]


@needs("see")
@require_safe
def index(request: Request) -> HttpResponse:
    """List the batches."""
    return render(request, "batches/index.html", {"page": pages.batches_page(request)})


@needs("see")
@require_safe
def batch(request: Request, pk: int) -> HttpResponse:
    """Show one batch: did it come out as intended?"""
    page = pages.batch_page(request, pk)
    return render(request, "batches/batch.html", {"page": page, "form": forms.VerdictForm()})


@needs("work")
@require_http_methods(["GET", "POST"])
def add(request: Request) -> HttpResponse:
    """Record a batch."""
    form = forms.BatchForm(
        request.POST or None, unit=request.user.mass_unit, initial={"operator": request.user}
    )
    if request.method == "POST" and form.is_valid():
        batch = actions.add_batch(batch=form.save(commit=False), by=request.user, at=timezone.now())
        done(request, f"{batch} is recorded.")
        if "another" in request.POST:
            return redirect("batches:add")
        return redirect("batches:batch", batch.pk)
    return render(request, "batches/add.html", {"form": form})


@needs("work")
@require_http_methods(["GET", "POST"])
def change(request: Request, pk: int) -> HttpResponse:
    """Correct a batch."""
    batch = get_object_or_404(Batch, pk=pk)
    form = forms.BatchForm(request.POST or None, instance=batch, unit=request.user.mass_unit)
    page = {"form": form, "pk": pk, "name": f"Batch {batch.number}", "revision": batch.revision}
    if request.method == "POST" and form.is_valid():
        try:
            actions.change_batch(
                batch=form.save(commit=False),
                revision=revision_of(request),
                by=request.user,
                at=timezone.now(),
            )
        except StaleError as problem:
            saved = Batch.objects.get(pk=pk)
            other = forms.BatchForm(instance=saved, unit=request.user.mass_unit)
            page |= stale(form, other, problem, saved)
        except InputError as problem:
            form.add_error(None, sentence(problem))
        else:
            done(request, f"{batch} is corrected.")
            return redirect("batches:batch", pk)
    return render(request, "batches/change.html", page)


@needs("work")
@require_POST
def judge(request: Request, pk: int) -> HttpResponse:
    """Release a batch, say to look again, or hold it; ``?today`` goes back to what waits."""
    batch = get_object_or_404(Batch, pk=pk)
    form = forms.VerdictForm(request.POST)
    if form.is_valid():
        try:
            actions.judge_batch(
                batch=batch,
                by=request.user,
                at=timezone.now(),
                proposed=pages.proposal_for(batch, request.user.mass_unit).verdict,  # type: ignore[arg-type]
                **form.cleaned_data,
            )
        except InputError as problem:
            form.add_error("reason", sentence(problem))
        else:
            done(request, f"{batch}: {form.cleaned_data['verdict']}.")
            return redirect("today") if "today" in request.GET else redirect("batches:batch", pk)
    page = pages.batch_page(request, pk)
    return render(request, "batches/batch.html", {"page": page, "form": form}, status=422)


@needs("work")
@require_POST
def void(request: Request, pk: int) -> HttpResponse:
    """Void a batch, or make it valid again (``?back``)."""
    batch = get_object_or_404(Batch, pk=pk)

    def deed(away: bool) -> None:
        actions.void_batch(batch=batch, void=away, by=request.user, at=timezone.now())

    return both_ways(
        request,
        deed,
        there=f"{batch} is void",
        back=f"{batch} is valid again",
        to=reverse("batches:batch", args=[pk]),
    )


@needs("see")
@require_safe
def machines(request: Request) -> HttpResponse:
    """List the machines."""
    return render(request, "batches/machines.html", {"machines": Machine.objects.all()})


@needs("work")
@require_http_methods(["GET", "POST"])
def add_machine(request: Request) -> HttpResponse:
    """Add a machine."""
    form = forms.MachineForm(request.POST or None, unit=request.user.mass_unit)
    if request.method == "POST" and form.is_valid():
        machine = actions.add_machine(
            machine=form.save(commit=False), by=request.user, at=timezone.now()
        )
        done(request, f"{machine.name} is added.")
        return redirect("batches:machines")
    return render(request, "batches/machine.html", {"form": form, "title": "Add a machine"})


@needs("work")
@require_http_methods(["GET", "POST"])
def change_machine(request: Request, pk: int) -> HttpResponse:
    """Change a machine."""
    machine = get_object_or_404(Machine, pk=pk)
    unit = request.user.mass_unit
    form = forms.MachineForm(request.POST or None, instance=machine, unit=unit)
    page: dict[str, object] = {"form": form, "title": machine.name, "revision": machine.revision}
    if request.method == "POST" and form.is_valid():
        try:
            actions.change_machine(
                machine=form.save(commit=False),
                revision=revision_of(request),
                by=request.user,
                at=timezone.now(),
            )
        except StaleError as problem:
            saved = Machine.objects.get(pk=pk)
            page |= stale(form, forms.MachineForm(instance=saved, unit=unit), problem, saved)
        else:
            done(request, f"{machine.name} is changed.")
            return redirect("batches:machines")
    return render(request, "batches/machine.html", page)


@needs("work")
@require_POST
def archive_machine(request: Request, pk: int) -> HttpResponse:
    """Put a machine away, or take it out again (``?back``)."""
    machine = get_object_or_404(Machine, pk=pk)
    return archive_or_back(request, machine, reverse("batches:machines"))
