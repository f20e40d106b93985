"""Sheets that print: labels, key, weighing, paper."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from coupage.errors import InputError
from coupage.web.common.requests import Request
from coupage.web.cuppings import forms
from coupage.web.cuppings.access import own_seat, table_for
from coupage.web.cuppings.pages import prints
from coupage.web.people.access import needs

__all__ = ["key", "labels", "paper", "weighing"]


@needs("work")
@require_safe
def labels(request: Request, pk: int) -> HttpResponse:
    """Show cup labels: codes only."""
    table = table_for(request.user, pk)
    codes = list(table.cups.order_by("code").values_list("code", flat=True))
    return render(request, "cuppings/labels.html", {"table": table, "codes": codes})


@needs("work")
@require_safe
def key(request: Request, pk: int) -> HttpResponse:
    """Show the host's key: which sample stands under which code."""
    table = table_for(request.user, pk)
    if "open" not in request.GET:
        # Whoever tastes here is asked before they see what they taste.
        own = own_seat(request.user, table)
        return render(request, "cuppings/sealed.html", {"table": table, "own": own})
    return render(request, "cuppings/key.html", {"table": table, "rows": prints.key_rows(table)})


@needs("work")
@require_safe
def weighing(request: Request, pk: int) -> HttpResponse:
    """Show what to weigh into each cup and pull from each batch."""
    table = table_for(request.user, pk)
    asked = request.GET if "resolution" in request.GET else None
    form = forms.WeighForm(asked, initial={"resolution": Decimal("0.1"), "purge": Decimal(5)})
    page: dict[str, Any] = {"table": table, "form": form}
    if form.is_bound and form.is_valid():
        try:
            page["page"] = prints.weighing_page(
                table,
                resolution_g=form.cleaned_data["resolution"],
                purge_g=form.cleaned_data["purge"],
                unit=request.user.mass_unit,  # type: ignore[arg-type]
            )
        except InputError as problem:
            form.add_error("resolution", f"{problem}.")
        else:
            return render(request, "cuppings/weighing_sheet.html", page)
    return render(request, "cuppings/weighing.html", page)


@needs("work")
@require_safe
def paper(request: Request, pk: int) -> HttpResponse:
    """Show empty sheets for tasters who write on paper, each in their own order."""
    table = table_for(request.user, pk)
    page = {
        "table": table,
        "sheets": prints.paper_sheets(table, request.GET.get("seat", "")),
        "attributes": prints.asked(table),
        "rounds": list(table.rounds.all()),
    }
    return render(request, "cuppings/paper.html", page)
