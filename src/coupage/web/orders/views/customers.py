"""Pages about customers and their standing orders."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from coupage.web.common.feedback import done
from coupage.web.common.requests import Request
from coupage.web.common.revisions import StaleError, revision_of, stale
from coupage.web.orders import actions, forms, pages
from coupage.web.orders.models import Customer, StandingOrder
from coupage.web.people.access import needs
from coupage.web.people.archive import archive_or_back

__all__ = [
    "add_customer",
    "add_standing",
    "archive_customer",
    "archive_standing",
    "change_customer",
    "change_standing",
    "customer",
    "customers",
    "standing",
]


@needs("see")
@require_safe
def customers(request: Request) -> HttpResponse:
    """List the customers."""
    return render(request, "orders/customers.html", {"customers": pages.customers_list(request)})


@needs("see")
@require_safe
def customer(request: Request, pk: int) -> HttpResponse:
    """Show one customer: where, what they order, what they got."""
    return render(request, "orders/customer.html", {"page": pages.customer_page(pk)})


@needs("work")
@require_http_methods(["GET", "POST"])
def add_customer(request: Request) -> HttpResponse:
    """Add a customer."""
    form = forms.CustomerForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        made = actions.add_customer(
            customer=form.save(commit=False), by=request.user, at=timezone.now()
        )
        done(request, f"{made} is added.")
        return redirect("orders:customer", made.pk)
    return render(request, "orders/add_customer.html", {"form": form})


@needs("work")
@require_http_methods(["GET", "POST"])
def change_customer(request: Request, pk: int) -> HttpResponse:
    """Change a customer."""
    kept = get_object_or_404(Customer, pk=pk)
    form = forms.CustomerForm(request.POST or None, instance=kept)
    page: dict[str, Any] = {"form": form, "pk": pk, "name": kept.name, "revision": kept.revision}
    if request.method == "POST" and form.is_valid():
        try:
            actions.change_customer(
                customer=form.save(commit=False),
                revision=revision_of(request),
                by=request.user,
                at=timezone.now(),
            )
        except StaleError as problem:
            saved = Customer.objects.get(pk=pk)
            page |= stale(form, forms.CustomerForm(instance=saved), problem, saved)
        else:
            done(request, f"{kept} is changed.")
            return redirect("orders:customer", pk)
    return render(request, "orders/change_customer.html", page)


@needs("work")
@require_POST
def archive_customer(request: Request, pk: int) -> HttpResponse:
    """Put a customer away, or take them out again (``?back``)."""
    kept = get_object_or_404(Customer, pk=pk)
    return archive_or_back(request, kept, reverse("orders:customer", args=[pk]))


@needs("see")
@require_safe
def standing(request: Request) -> HttpResponse:
    """List the standing orders."""
    return render(request, "orders/standing.html", {"standing": pages.standing_list(request)})


@needs("work")
@require_http_methods(["GET", "POST"])
def add_standing(request: Request) -> HttpResponse:
    """Write down a standing order."""
    who = request.GET.get("customer", "")
    initial = {"customer": who} if who.isascii() and who.isdigit() else {}
    form = forms.StandingForm(request.POST or None, initial=initial)
    lines = forms.line_forms(None, request.POST or None)
    if request.method == "POST" and form.is_valid() and lines.is_valid():
        made = actions.add_standing(
            standing=form.save(commit=False),
            lines=lines.lines(),
            by=request.user,
            at=timezone.now(),
        )
        done(request, f"The standing order of {made.customer} is written down.")
        return redirect("orders:standing")
    return render(request, "orders/add_standing.html", {"form": form, "lines": lines})


@needs("work")
@require_http_methods(["GET", "POST"])
def change_standing(request: Request, pk: int) -> HttpResponse:
    """Change a standing order; orders written from it before stay as they are."""
    kept = get_object_or_404(StandingOrder.objects.select_related("customer"), pk=pk)
    form = forms.StandingForm(request.POST or None, instance=kept)
    lines = forms.line_forms(kept, request.POST or None)
    page: dict[str, Any] = {
        "form": form,
        "lines": lines,
        "standing": kept,
        "name": str(kept),
        "revision": kept.revision,
    }
    if request.method == "POST" and form.is_valid() and lines.is_valid():
        try:
            actions.change_standing(
                standing=form.save(commit=False),
                lines=lines.lines(),
                revision=revision_of(request),
                by=request.user,
                at=timezone.now(),
            )
        except StaleError as problem:
            saved = StandingOrder.objects.select_related("customer").get(pk=pk)
            page |= stale(form, forms.StandingForm(instance=saved), problem, saved)
        else:
            done(request, f"The standing order of {kept.customer} is changed.")
            return redirect("orders:standing")
    return render(request, "orders/change_standing.html", page)


@needs("work")
@require_POST
def archive_standing(request: Request, pk: int) -> HttpResponse:
    """Put a standing order away, or take it out again (``?back``)."""
    kept = get_object_or_404(StandingOrder.objects.select_related("customer"), pk=pk)
    return archive_or_back(request, kept, reverse("orders:standing"))
