"""Pages about roast curves: one domain call each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from coupage.errors import InputError
from coupage.sheets import Column, Layout
from coupage.web.batches.models import Batch, Machine
from coupage.web.common.exchange import send_table
from coupage.web.common.feedback import both_ways, done, not_done, sentence
from coupage.web.common.requests import Request
from coupage.web.common.revisions import StaleError, revision_of, stale
from coupage.web.curves import actions, forms, packing, pages, queries
from coupage.web.curves.models import FileColumns, Probe, RoastCurve
from coupage.web.people.access import needs

__all__ = [
    "columns",
    "columns_list",
    "curve",
    "end_reference",
    "index",
    "probe",
    "readings",
    "reference",
    "take_in",
    "void",
]


@needs("see")
@require_safe
def index(request: Request) -> HttpResponse:
    """List the curves."""
    return render(request, "curves/index.html", {"page": pages.curves_page(request)})


@needs("see")
@require_safe
def curve(request: Request, pk: int) -> HttpResponse:
    """Show the curve of a batch: where and by how much did it leave the band?"""
    page = pages.curve_page(pk, request.GET.get("against", ""))
    return render(request, "curves/curve.html", {"page": page, "form": forms.ReasonForm()})


@needs("see")
@require_safe
def readings(request: Request, pk: int) -> HttpResponse:
    """Give a curve's readings out, as they came."""
    stored = get_object_or_404(RoastCurve.objects.select_related("batch"), batch__id=pk)
    seconds, degrees = packing.unpack(bytes(stored.readings))
    layout = Layout(
        f"curve {stored.batch.number}",
        (
            Column("seconds", "number", unit="s"),
            Column("bean temperature", "number", unit="°C", required=False),
        ),
    )
    rows = (
        {"seconds": round(s, 2), "bean temperature": None if c != c else round(c, 2)}
        for s, c in zip(seconds.tolist(), degrees.tolist(), strict=True)
    )
    return send_table(layout, rows, request.GET.get("file", "csv"), "")


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one file, as the page and its script show it."""

    name: str
    ok: bool
    said: str
    url: str = ""
    columns: str = ""


@needs("work")
@require_http_methods(["GET", "HEAD", "POST"])
def take_in(request: Request) -> HttpResponse:
    """Take curve files in: all at once, or one by one from the page's script (as JSON).

    ``?batch=`` names the batch where the files' names do not.
    """
    batch = _asked_batch(request)
    form = forms.UploadForm(request.POST or None, request.FILES or None)
    context: dict[str, Any] = {"form": form, "batch": batch}
    if request.method != "POST":
        context["form"] = forms.UploadForm()
        return render(request, "curves/take_in.html", context)
    for_script = "application/json" in request.headers.get("Accept", "")
    if not form.is_valid():
        if for_script:
            said = " ".join(str(error) for error in form.errors.get("curves") or ("no file came",))
            return JsonResponse({"files": [], "said": said}, status=422)
        return render(request, "curves/take_in.html", context, status=422)
    outcomes = [
        _take(request, file, batch, replace=form.cleaned_data["replace"])
        for file in form.cleaned_data["curves"]
    ]
    if for_script:
        return JsonResponse({"files": [_plain(o) for o in outcomes]})
    good = sum(o.ok for o in outcomes)
    context |= {"outcomes": outcomes, "good": good, "bad": len(outcomes) - good}
    return render(request, "curves/take_in.html", context, status=200 if good else 422)


def _asked_batch(request: Request) -> Batch | None:
    asked = request.GET.get("batch", "")
    if not asked:
        return None
    found = (
        Batch.objects.filter(pk=int(asked)).first()
        if asked.isascii() and asked.isdigit() and len(asked) < 19
        else None
    )
    if found is None:
        raise Http404("There is no such batch.")
    return found


def _take(request: Request, file: Any, batch: Batch | None, *, replace: bool) -> Outcome:
    name = str(file.name or "file")
    try:
        taken = actions.take_in(
            filename=name,
            data=file.read(),
            by=request.user,
            at=timezone.now(),
            batch=batch,
            replace=replace,
        )
    except actions.UnknownColumnsError as problem:
        there = reverse("curves:columns", args=[problem.columns.pk])
        return Outcome(name, False, str(problem), columns=there)
    except InputError as problem:
        return Outcome(name, False, str(problem))
    url = reverse("curves:curve", args=[taken.curve.batch_id])
    return Outcome(name, True, taken.said, url)


def _plain(outcome: Outcome) -> dict[str, object]:
    return {
        "name": outcome.name,
        "ok": outcome.ok,
        "said": outcome.said,
        "url": outcome.url,
        "columns": outcome.columns,
    }


@needs("see")
@require_safe
def columns_list(request: Request) -> HttpResponse:
    """List how files are understood."""
    return render(request, "curves/columns_list.html", {"found": queries.columns()})


@needs("work")
@require_http_methods(["GET", "POST"])
def columns(request: Request, pk: int) -> HttpResponse:
    """Say which columns hold what; ``?part`` is the form alone, for the page of an import."""
    found = get_object_or_404(FileColumns, pk=pk)
    form = forms.ColumnsForm(request.POST or None, instance=found)
    part = "part" in request.GET
    page: dict[str, Any] = {"columns": found, "form": form, "revision": found.revision}
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            try:
                actions.settle_columns(
                    columns=form.save(commit=False),
                    revision=revision_of(request),
                    by=request.user,
                    at=timezone.now(),
                )
            except StaleError as problem:
                saved = FileColumns.objects.get(pk=pk)
                page |= stale(form, forms.ColumnsForm(instance=saved), problem, saved)
            else:
                if part:
                    return HttpResponse(status=204)
                done(request, "Files with these columns can be taken in now.")
                return redirect("curves:take-in")
    name = "curves/columns_part.html" if part else "curves/columns.html"
    return render(request, name, page, status=status)


@needs("work")
@require_http_methods(["GET", "POST"])
def probe(request: Request, pk: int) -> HttpResponse:
    """Say how curves of a machine are looked at, and where its phases end."""
    machine = get_object_or_404(Machine, pk=pk)
    there = queries.probe_of(machine)
    form = _probe_form(there, request)
    page: dict[str, Any] = {"form": form, "machine": machine, "revision": there.revision}
    if request.method == "POST" and form.is_valid():
        try:
            actions.set_probe(
                probe=form.save(commit=False),
                marks=form.marks(),
                revision=revision_of(request),
                by=request.user,
                at=timezone.now(),
            )
        except StaleError as problem:
            saved = queries.probe_of(machine)
            page |= stale(form, _probe_form(saved), problem, saved)
        else:
            done(request, f"Curves of {machine.name} are looked at this way now.")
            return redirect("batches:machines")
    return render(request, "curves/probe.html", page)


def _probe_form(probe: Probe, request: Request | None = None) -> forms.ProbeForm:
    marks = [(m.name, m.temperature_c) for m in probe.marks.all()] if probe.pk else []
    sent = request.POST if request is not None and request.method == "POST" else None
    return forms.ProbeForm(sent, instance=probe, marks=marks)


@needs("work")
@require_POST
def reference(request: Request, pk: int) -> HttpResponse:
    """Make a curve the reference of its approach on its machine."""
    stored = get_object_or_404(
        RoastCurve.objects.select_related("batch__approach_version__approach", "batch__machine"),
        batch__id=pk,
    )
    form = forms.ReasonForm(request.POST)
    if form.is_valid():
        try:
            actions.choose_reference(
                curve=stored,
                reason=form.cleaned_data["reason"],
                by=request.user,
                at=timezone.now(),
            )
        except InputError as problem:
            form.add_error("reason", sentence(problem))
        else:
            done(request, f"Batch {stored.batch.number} is the reference now.")
            return redirect("curves:curve", pk)
    page = pages.curve_page(pk, "")
    return render(request, "curves/curve.html", {"page": page, "form": form}, status=422)


@needs("work")
@require_POST
def end_reference(request: Request, pk: int) -> HttpResponse:
    """Go back to the band of released roasts."""
    stored = get_object_or_404(
        RoastCurve.objects.select_related("batch__approach_version__approach", "batch__machine"),
        batch__id=pk,
    )
    batch = stored.batch
    found = queries.reference_for(batch.approach_version.approach, batch.machine)
    if found is None or found.curve_id != stored.pk:
        not_done(request, "This curve is not the reference.")
        return redirect("curves:curve", pk)
    actions.end_reference(reference=found, by=request.user, at=timezone.now())
    done(request, "Roasts are held against the band of released ones again.")
    return redirect("curves:curve", pk)


@needs("work")
@require_POST
def void(request: Request, pk: int) -> HttpResponse:
    """Void a curve, or make it valid again (``?back``)."""
    stored = get_object_or_404(RoastCurve.objects.select_related("batch"), batch__id=pk)

    def deed(away: bool) -> None:
        actions.void_curve(curve=stored, void=away, by=request.user, at=timezone.now())

    return both_ways(
        request,
        deed,
        there=f"{stored} is void",
        back=f"{stored} is valid again",
        to=reverse("curves:curve", args=[pk]),
    )
