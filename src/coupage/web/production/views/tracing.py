"""Pages of a trace and its reports: screen, PDF, CSV, EPCIS."""

from __future__ import annotations

import json

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from coupage.errors import InputError
from coupage.units import MassUnit
from coupage.web.common.exchange import send_table
from coupage.web.common.feedback import done, not_done, sentence
from coupage.web.common.requests import Request
from coupage.web.people.access import needs
from coupage.web.people.queries import roastery
from coupage.web.production import actions, queries
from coupage.web.production.epcis import Names, epcis_document
from coupage.web.production.pages.trace import trace_page
from coupage.web.production.recall import find_start, recall_of
from coupage.web.production.report import recall_layout, recall_pdf, recall_rows

__all__ = ["epcis", "find", "hold_all", "pdf", "table", "trace"]


def _unit(request: Request) -> MassUnit:
    return request.user.mass_unit  # type: ignore[return-value]


@needs("see")
@require_safe
def find(request: Request) -> HttpResponse:
    """Look a code up: lot code or scan, number of a batch, name of a lot."""
    code = request.GET.get("code", "").replace("\x00", "").strip()[:300]
    found = find_start(code) if code else None
    if found is not None:
        return redirect("production:trace", *found)
    return render(request, "production/find.html", {"code": code})


@needs("see")
@require_safe
def trace(request: Request, kind: str, pk: int) -> HttpResponse:
    """Show who received what, what is still here, and the way it took."""
    context = {"page": trace_page(kind, pk, _unit(request))}
    return render(request, "production/trace.html", context)


@needs("work")
@require_POST
def hold_all(request: Request, kind: str, pk: int) -> HttpResponse:
    """Hold every lot that holds it."""
    recall = recall_of(kind, pk)
    try:
        held = actions.hold_runs(
            runs=recall.later_runs,
            reason=request.POST.get("reason", "").strip()[:200],
            by=request.user,
            at=timezone.now(),
        )
    except InputError as problem:
        not_done(request, sentence(problem))
    else:
        done(request, f"{len(held)} {'lot is' if len(held) == 1 else 'lots are'} on hold.")
    return redirect("production:trace", kind, pk)


def _file(data: bytes | str, kind: str, name: str) -> HttpResponse:
    response = HttpResponse(data, content_type=kind)
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    response.headers["X-Content-Type-Options"] = "nosniff"
    return response


@needs("see")
@require_safe
def pdf(request: Request, kind: str, pk: int) -> HttpResponse:
    """Give the recall report as PDF."""
    data = recall_pdf(
        recall_of(kind, pk),
        roastery=roastery().name,
        by=request.user.name,
        at=timezone.localtime(),
        unit=_unit(request),
    )
    return _file(data, "application/pdf", f"recall-{kind}-{pk}.pdf")


@needs("see")
@require_safe
def table(request: Request, kind: str, pk: int) -> HttpResponse:
    """Give the recall report as CSV or XLSX."""
    rows = recall_rows(recall_of(kind, pk))
    return send_table(recall_layout(), rows, request.GET.get("file", "csv"), f"{kind}-{pk}")


@needs("see")
@require_safe
def epcis(_request: Request, kind: str, pk: int) -> HttpResponse:
    """Give the trace as EPCIS 2.0 events."""
    names = Names(roastery().name, queries.rules().link_base)
    document = epcis_document(recall_of(kind, pk), names=names, at=timezone.localtime())
    data = json.dumps(document, ensure_ascii=False, indent=1)
    return _file(data, "application/ld+json", f"epcis-{kind}-{pk}.jsonld")
