"""Pages about lots: one domain call each."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from coupage.errors import InputError
from coupage.web.coffees import actions, forms, pages
from coupage.web.coffees.models import Approach, Lot
from coupage.web.common.feedback import done, sentence
from coupage.web.common.requests import Request
from coupage.web.common.revisions import StaleError, revision_of, stale
from coupage.web.people.access import needs
from coupage.web.people.archive import archive_or_back
from coupage.web.people.queries import roastery

__all__ = [
    "add",
    "add_approach",
    "add_version",
    "archive",
    "archive_approach",
    "change",
    "enter_stock",
    "index",
    "lot",
]


@needs("see")
@require_safe
def index(request: Request) -> HttpResponse:
    """List the lots."""
    return render(request, "coffees/index.html", {"page": pages.lots_page(request)})


@needs("see")
@require_safe
def lot(request: Request, pk: int) -> HttpResponse:
    """Show one lot: what it is, what is left, how it is roasted."""
    return render(request, "coffees/lot.html", {"page": pages.lot_page(request, pk)})


@needs("work")
@require_http_methods(["GET", "POST"])
def add(request: Request) -> HttpResponse:
    """Add a lot, with what has arrived of it."""
    form = forms.NewLotForm(
        request.POST or None, unit=request.user.mass_unit, currency=roastery().currency
    )
    if request.method == "POST" and form.is_valid():
        at = timezone.now()
        lot = actions.add_lot(
            lot=form.save(commit=False),
            received_g=form.cleaned_data["received_g"] or 0,
            on=form.cleaned_data["on"] or timezone.localdate(at),
            by=request.user,
            at=at,
        )
        done(request, f"{lot.name} is added.")
        return redirect("coffees:lot", lot.pk)
    return render(request, "coffees/add.html", {"form": form})


@needs("work")
@require_http_methods(["GET", "POST"])
def change(request: Request, pk: int) -> HttpResponse:
    """Change a lot's facts."""
    lot = get_object_or_404(Lot, pk=pk)
    form = forms.LotForm(
        request.POST or None,
        instance=lot,
        unit=request.user.mass_unit,
        currency=roastery().currency,
    )
    page = {"form": form, "lot": lot, "name": lot.name, "revision": lot.revision}
    if request.method == "POST" and form.is_valid():
        revision = revision_of(request)
        try:
            actions.change_lot(
                lot=form.save(commit=False), revision=revision, by=request.user, at=timezone.now()
            )
        except StaleError as problem:
            saved = Lot.objects.get(pk=pk)
            other = forms.LotForm(
                instance=saved, unit=request.user.mass_unit, currency=roastery().currency
            )
            page |= stale(form, other, problem, saved)
        else:
            done(request, f"{lot.name} is changed.")
            return redirect("coffees:lot", pk)
    return render(request, "coffees/change.html", page)


@needs("work")
@require_POST
def archive(request: Request, pk: int) -> HttpResponse:
    """Put a lot away, or take it out again (``?back``)."""
    lot = get_object_or_404(Lot, pk=pk)
    return archive_or_back(request, lot, reverse("coffees:lot", args=[pk]))


@needs("work")
@require_http_methods(["GET", "POST"])
def enter_stock(request: Request, pk: int) -> HttpResponse:
    """Add a line to a lot's ledger."""
    lot = get_object_or_404(Lot, pk=pk)
    form = forms.StockForm(request.POST or None, unit=request.user.mass_unit, lot=lot)
    if request.method == "POST" and form.is_valid():
        try:
            actions.enter_stock(lot=lot, by=request.user, at=timezone.now(), **form.cleaned_data)
        except InputError as problem:
            form.add_error("mass_g", sentence(problem))
        else:
            done(request, f"The stock of {lot.name} is entered.")
            return redirect("coffees:lot", pk)
    return render(request, "coffees/enter_stock.html", {"form": form, "lot": lot})


@needs("work")
@require_http_methods(["GET", "POST"])
def add_approach(request: Request, pk: int) -> HttpResponse:
    """Add a way of roasting a lot."""
    lot = get_object_or_404(Lot, pk=pk)
    form = forms.ApproachForm(request.POST or None, lot=lot, unit=request.user.mass_unit)
    if request.method == "POST" and form.is_valid():
        approach = actions.add_approach(
            lot=lot,
            name=form.cleaned_data["name"],
            version=form.save(commit=False),
            by=request.user,
            at=timezone.now(),
        )
        done(request, f"The approach {approach.name} is added.")
        return redirect("coffees:lot", pk)
    return render(request, "coffees/add_approach.html", {"form": form, "lot": lot})


@needs("work")
@require_http_methods(["GET", "POST"])
def add_version(request: Request, pk: int) -> HttpResponse:
    """Give an approach new targets from a date on."""
    approach = get_object_or_404(Approach.objects.select_related("lot"), pk=pk)
    form = forms.VersionForm(
        request.POST or None,
        instance=None if request.method == "POST" else pages.next_version(approach),
        unit=request.user.mass_unit,
    )
    if request.method == "POST" and form.is_valid():
        version = actions.add_approach_version(
            approach=approach, version=form.save(commit=False), by=request.user, at=timezone.now()
        )
        done(request, f"{approach} has new targets, version {version.number}.")
        return redirect("coffees:lot", approach.lot_id)
    return render(request, "coffees/add_version.html", {"form": form, "approach": approach})


@needs("work")
@require_POST
def archive_approach(request: Request, pk: int) -> HttpResponse:
    """Put an approach away, or take it out again (``?back``)."""
    approach = get_object_or_404(Approach.objects.select_related("lot"), pk=pk)
    return archive_or_back(request, approach, reverse("coffees:lot", args=[approach.lot_id]))
