"""Pages about what is on hand: roasted coffee, bags on the shelf, dispatches."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from coupage.errors import InputError
from coupage.units import MassUnit
from coupage.web.batches import roasted as ledger
from coupage.web.batches.models import Batch
from coupage.web.common.feedback import done, sentence
from coupage.web.common.requests import Request
from coupage.web.orders.models import Order
from coupage.web.people.access import needs
from coupage.web.production import actions, forms, queries
from coupage.web.production.models import Dispatch, Packed
from coupage.web.production.pages import lists

__all__ = [
    "bags",
    "dispatch",
    "dispatches",
    "enter_bags",
    "enter_roasted",
    "give_back",
    "roasted",
    "roasted_batch",
    "send",
    "shelf",
    "void_dispatch",
]


def _unit(request: Request) -> MassUnit:
    return request.user.mass_unit  # type: ignore[return-value]


@needs("see")
@require_safe
def roasted(request: Request) -> HttpResponse:
    """List roasted coffee on hand, now or at the end of a day (``?on``)."""
    try:
        on = dt.date.fromisoformat(request.GET["on"]) if request.GET.get("on") else None
    except ValueError:
        on = None
    context = {
        "batches": lists.roasted_list(request, on),
        "on": on,
        "today": timezone.localdate(),
        "rules": queries.rules(),
    }
    return render(request, "production/roasted.html", context)


@needs("see")
@require_safe
def roasted_batch(request: Request, pk: int) -> HttpResponse:
    """Show the ledger of a batch's roasted coffee."""
    return _roasted(request, pk, forms.RoastedForm(unit=_unit(request)))


def _roasted(request: Request, pk: int, form: forms.RoastedForm, status: int = 200) -> HttpResponse:
    context = {"page": lists.roasted_page(pk, _unit(request)), "form": form}
    return render(request, "production/roasted_batch.html", context, status=status)


@needs("work")
@require_POST
def enter_roasted(request: Request, pk: int) -> HttpResponse:
    """Add a line to the ledger of a batch's roasted coffee."""
    batch = get_object_or_404(Batch, pk=pk)
    form = forms.RoastedForm(request.POST, unit=_unit(request))
    if form.is_valid():
        try:
            ledger.enter_roasted(
                batch=batch,
                kind=form.cleaned_data["kind"],
                mass_g=form.signed_g(),
                on=form.cleaned_data["on"],
                reason=form.cleaned_data["reason"],
                by=request.user,
                at=timezone.now(),
            )
        except InputError as problem:
            form.add_error(None, sentence(problem))
        else:
            done(request, "The line is in the ledger.")
            return redirect("production:roasted-batch", pk)
    return _roasted(request, pk, form, 422)


@needs("see")
@require_safe
def shelf(request: Request) -> HttpResponse:
    """List the bags on the shelf."""
    return render(request, "production/shelf.html", {"bags": lists.shelf_list(request)})


@needs("see")
@require_safe
def bags(request: Request, pk: int) -> HttpResponse:
    """Show the ledger of bags of one size of one run."""
    context = {"page": lists.bags_page(pk), "form": forms.BagsForm()}
    return render(request, "production/bags.html", context)


@needs("work")
@require_POST
def enter_bags(request: Request, pk: int) -> HttpResponse:
    """Add a line to the ledger of bags."""
    packed = get_object_or_404(Packed, pk=pk)
    form = forms.BagsForm(request.POST)
    if form.is_valid():
        values: dict[str, Any] = form.cleaned_data
        try:
            actions.enter_bags(
                packed=packed,
                kind=values["kind"],
                bags=int(values["bags"]),
                on=values["on"],
                reason=values["reason"],
                by=request.user,
                at=timezone.now(),
            )
        except InputError as problem:
            form.add_error(None, sentence(problem))
        else:
            done(request, "The line is in the ledger.")
            return redirect("production:bags", pk)
    context = {"page": lists.bags_page(pk), "form": form}
    return render(request, "production/bags.html", context, status=422)


@needs("see")
@require_safe
def dispatches(request: Request) -> HttpResponse:
    """List the dispatches."""
    context = {"dispatches": lists.dispatches_list(request)}
    return render(request, "production/dispatches.html", context)


@needs("work")
@require_http_methods(["GET", "POST"])
def send(request: Request) -> HttpResponse:
    """Send bags to a customer, by an order (``?order``) or without."""
    order = _asked_order(request)
    shelf = list(
        queries.packed()
        .filter(on_hand__gt=0, run__held=False)
        .order_by("pack__blend__name", "pack__bag_g", "run__best_before", "run_id")
    )
    initial = _proposed(order, shelf) if order else {}
    form = forms.DispatchForm(request.POST or None, shelf=shelf, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            made = actions.send_bags(
                customer=form.cleaned_data["customer"],
                order=form.cleaned_data["order"],
                bags=form.bags(),
                on=form.cleaned_data["on"],
                note=form.cleaned_data["note"],
                by=request.user,
                at=timezone.now(),
            )
        except InputError as problem:
            form.add_error(None, sentence(problem))
        else:
            done(request, f"{made} is written down.")
            return redirect("production:dispatch", made.pk)
    rows = [(form[name], row) for name, row in form.shelf.items()]
    short = _short(order, shelf) if order else ()
    context = {"form": form, "rows": rows, "order": order, "short": short}
    return render(request, "production/send.html", context)


def _asked_order(request: Request) -> Order | None:
    key = request.GET.get("order", "")
    if not (key.isascii() and key.isdigit() and len(key) < 19):
        return None
    return Order.objects.select_related("customer").filter(pk=key).first()


def _proposed(order: Order, shelf: list[queries.StockedPacked]) -> dict[str, object]:
    """Fill an order from the shelf, what keeps the shortest first."""
    found: dict[str, object] = {"order": order.pk, "customer": order.customer_id}
    for line in order.lines.all():
        need = line.bags
        for row in shelf:
            if (row.pack.blend_id, row.pack.bag_g) == (line.blend_id, line.bag_g) and need:
                take = min(need, row.on_hand)
                found[f"bags-{row.pk}"] = take
                need -= take
    return found


def _short(order: Order, shelf: list[queries.StockedPacked]) -> tuple[str, ...]:
    """Say what of an order is not on the shelf."""
    said = []
    for line in order.lines.select_related("blend"):
        there = sum(
            row.on_hand
            for row in shelf
            if (row.pack.blend_id, row.pack.bag_g) == (line.blend_id, line.bag_g)
        )
        if there < line.bags:
            said.append(f"{line.bags - there} × {line.bag_g} g of {line.blend}")
    return tuple(said)


@needs("see")
@require_safe
def dispatch(request: Request, pk: int) -> HttpResponse:
    """Show one dispatch."""
    page = lists.dispatch_page(pk, _unit(request))
    return render(request, "production/dispatch.html", {"page": page})


@needs("work")
@require_http_methods(["GET", "POST"])
def give_back(request: Request, pk: int) -> HttpResponse:
    """Take bags of one line of a dispatch back."""
    line = queries.sent_lines().filter(pk=pk).first()
    if line is None:
        raise Http404("There is no such line of a dispatch.")
    form = forms.ReturnForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            actions.receive_return(
                line=line,
                bags=int(form.cleaned_data["bags"]),
                reason=form.cleaned_data["reason"],
                on=form.cleaned_data["on"],
                by=request.user,
                at=timezone.now(),
            )
        except InputError as problem:
            form.add_error(None, sentence(problem))
        else:
            done(request, "They are on the shelf again.")
            return redirect("production:dispatch", line.dispatch_id)
    return render(request, "production/give_back.html", {"form": form, "line": line})


@needs("work")
@require_http_methods(["GET", "POST"])
def void_dispatch(request: Request, pk: int) -> HttpResponse:
    """Undo a dispatch that did not happen."""
    found = get_object_or_404(Dispatch.objects.select_related("customer"), pk=pk)
    form = forms.ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            actions.void_dispatch(
                dispatch=found,
                reason=form.cleaned_data["reason"],
                by=request.user,
                at=timezone.now(),
            )
        except InputError as problem:
            form.add_error(None, sentence(problem))
        else:
            done(request, "The dispatch is void; its bags are on the shelf.")
            return redirect("production:dispatch", pk)
    return render(request, "production/void_dispatch.html", {"form": form, "dispatch": found})
