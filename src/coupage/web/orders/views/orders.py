"""Pages about orders."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from coupage.errors import InputError
from coupage.web.common.feedback import done, not_done, sentence
from coupage.web.common.requests import Request
from coupage.web.common.revisions import StaleError, revision_of, stale
from coupage.web.orders import actions, forms, pages
from coupage.web.orders.models import Order
from coupage.web.people.access import needs

__all__ = ["add", "change", "index", "move", "order", "write_standing"]


@needs("see")
@require_safe
def index(request: Request) -> HttpResponse:
    """List the orders."""
    page = pages.orders_page(request, timezone.localdate())
    return render(request, "orders/index.html", {"page": page})


@needs("see")
@require_safe
def order(request: Request, pk: int) -> HttpResponse:
    """Show one order: what goes to whom and when."""
    return render(request, "orders/order.html", {"page": pages.order_page(request, pk)})


@needs("work")
@require_http_methods(["GET", "POST"])
def add(request: Request) -> HttpResponse:
    """Write down an order."""
    customer = request.GET.get("customer", "")
    initial = {"customer": customer} if customer.isascii() and customer.isdigit() else {}
    form = forms.OrderForm(request.POST or None, initial=initial)
    lines = forms.line_forms(None, request.POST or None)
    if request.method == "POST" and form.is_valid() and lines.is_valid():
        made = actions.add_order(
            order=form.save(commit=False),
            lines=lines.lines(),
            by=request.user,
            at=timezone.now(),
        )
        done(request, f"{made} for {made.customer} is written down.")
        return redirect("orders:order", made.pk)
    return render(request, "orders/add.html", {"form": form, "lines": lines})


@needs("work")
@require_http_methods(["GET", "POST"])
def change(request: Request, pk: int) -> HttpResponse:
    """Change an order that is not packed yet."""
    kept = get_object_or_404(Order.objects.select_related("customer"), pk=pk)
    name = str(kept)
    form = forms.OrderForm(request.POST or None, instance=kept)
    lines = forms.line_forms(kept, request.POST or None)
    page: dict[str, Any] = {
        "form": form,
        "lines": lines,
        "pk": pk,
        "name": name,
        "revision": kept.revision,
    }
    if request.method == "POST" and form.is_valid() and lines.is_valid():
        try:
            actions.change_order(
                order=form.save(commit=False),
                lines=lines.lines(),
                revision=revision_of(request),
                by=request.user,
                at=timezone.now(),
            )
        except StaleError as problem:
            saved = Order.objects.get(pk=pk)
            page |= stale(form, forms.OrderForm(instance=saved), problem, saved)
        except InputError as problem:
            form.add_error(None, sentence(problem))
        else:
            done(request, f"{name} is changed.")
            return redirect("orders:order", pk)
    return render(request, "orders/change.html", page)


@needs("work")
@require_POST
def move(request: Request, pk: int) -> HttpResponse:
    """Say that an order is packed, sent, called off or open again."""
    kept = get_object_or_404(Order, pk=pk)
    back = request.GET.get("to", "").replace("-", " ")
    state = back or request.POST.get("state", "")
    try:
        actions.move_order(order=kept, state=state, by=request.user, at=timezone.now())
    except InputError as problem:
        not_done(request, sentence(problem))
    else:
        undo = f"{request.path}?to={kept.state.replace(' ', '-')}"
        done(request, f"{kept} is {state}.", undo="" if back else undo)
    return redirect("orders:order", pk)


@needs("work")
@require_POST
def write_standing(request: Request) -> HttpResponse:
    """Write down the orders of the coming days from standing orders."""
    today = timezone.localdate()
    made = actions.write_standing(
        first=today,
        last=today + dt.timedelta(days=pages.AHEAD),
        by=request.user,
        at=timezone.now(),
    )
    done(request, pages.written_sentence(made))
    return redirect("orders:index")
