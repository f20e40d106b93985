"""What is printed: the run sheet, labels, the dispatch note."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from coupage.web.common.requests import Request
from coupage.web.people.access import needs
from coupage.web.people.queries import roastery
from coupage.web.production import forms, queries
from coupage.web.production.labels import label_of
from coupage.web.production.pages.lists import dispatch_page
from coupage.web.production.pages.run import lift_rows, load_run

__all__ = ["labels", "note", "sheet"]


@needs("see")
@require_safe
def sheet(request: Request, pk: int) -> HttpResponse:
    """Show the run sheet, ready to print."""
    run = load_run(pk)
    parts = list(queries.parts().filter(run=run).order_by("place"))
    lifts = lift_rows(run, parts)
    packs = queries.packs().filter(blend=run.recipe.blend_id)
    context = {
        "run": run,
        "lifts": lifts,
        "planned_g": sum(lift.planned_g for lift in lifts),
        "packs": packs,
        "rules": queries.rules(),
    }
    return render(request, "production/run_sheet.html", context)


@needs("see")
@require_safe
def labels(request: Request, pk: int) -> HttpResponse:
    """Show labels for bags or boxes of a run, ready to print."""
    run, rules = load_run(pk), queries.rules()
    rows = queries.packed().filter(run=run).order_by("pack__bag_g")
    first = rows.first()
    asked = request.GET if "packed" in request.GET else None
    initial = {"packed": first, "count": min(500, max(1, first.on_hand)) if first else None}
    form = forms.LabelForm(asked, rows=rows, initial=initial)
    context: dict[str, object] = {"run": run, "form": form, "there": first, "label": None}
    if form.is_bound and form.is_valid():
        packed = form.cleaned_data["packed"]
        box = form.cleaned_data["what"] == "box"
        context |= {
            "label": label_of(run, packed.pack, rules, box=box),
            "times": range(int(form.cleaned_data["count"])),
            "roastery": roastery().name,
        }
    template = "production/label_sheet.html" if context["label"] else "production/labels.html"
    return render(request, template, context)


@needs("see")
@require_safe
def note(request: Request, pk: int) -> HttpResponse:
    """Show the note that goes with a dispatch, ready to print."""
    page = dispatch_page(pk, request.user.mass_unit)  # type: ignore[arg-type]
    context = {"page": page, "rules": queries.rules(), "roastery": roastery().name}
    return render(request, "production/dispatch_note.html", context)
