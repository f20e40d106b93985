"""Pages about what is expected to be ordered."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from coupage.errors import InputError
from coupage.web.blends.models import Blend
from coupage.web.common.feedback import done, not_done, sentence
from coupage.web.common.requests import Request
from coupage.web.orders import actions, forms
from coupage.web.orders.buying import buying_page
from coupage.web.orders.expecting import outlook_page, outlooks
from coupage.web.people.access import needs

__all__ = ["buying", "expect", "expected", "index"]


@needs("see")
@require_safe
def index(request: Request) -> HttpResponse:
    """List the blends with what is expected of them."""
    found = outlooks(timezone.localdate())
    return render(request, "orders/expected_index.html", {"outlooks": found})


@needs("see")
@require_safe
def expected(request: Request, pk: int) -> HttpResponse:
    """Show what is expected of one blend."""
    page = outlook_page(request, pk, timezone.localdate())
    return render(request, "orders/expected.html", {"page": page})


@needs("see")
@require_safe
def buying(request: Request) -> HttpResponse:
    """Show what green to buy by when."""
    page = buying_page(request, timezone.localdate())
    return render(request, "orders/buying.html", {"page": page})


@needs("work")
@require_POST
def expect(request: Request, pk: int) -> HttpResponse:
    """Set the roaster's own number for a week, or go back to the forecast."""
    blend = get_object_or_404(Blend, pk=pk)
    prefix = next((name[:-5] for name in request.POST if name.endswith("-week")), "")
    form = forms.ExpectForm(request.POST, unit=request.user.mass_unit, prefix=prefix)
    if not form.is_valid():
        name, errors = next(iter(form.errors.items()))
        not_done(request, f"{form.fields[name].label or name}: {errors[0]}")
        return redirect("orders:expected", pk)
    try:
        actions.expect(
            blend=blend,
            week=form.cleaned_data["week"],
            mass_g=form.cleaned_data["mass_g"],
            by=request.user,
            at=timezone.now(),
        )
    except InputError as problem:
        not_done(request, sentence(problem))
    else:
        own = form.cleaned_data["mass_g"] is not None
        done(request, "Your number counts now." if own else "The forecast counts again.")
    return redirect("orders:expected", pk)
