"""Prices, exchange rates and the house's own costs."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from coupage.web.blends import actions
from coupage.web.blends.forms.money import GreenPriceForm, HouseCostsForm, RateForm
from coupage.web.blends.pages.money import money_page
from coupage.web.common.feedback import done
from coupage.web.common.requests import Request
from coupage.web.people.access import needs
from coupage.web.people.queries import roastery

__all__ = ["money"]

_FORMS: dict[str, Any] = {"rate": RateForm, "green": GreenPriceForm, "house": HouseCostsForm}


@needs("see")
@require_http_methods(["GET", "POST"])
def money(request: Request) -> HttpResponse:
    """Show what is written down of prices and costs; whoever may work adds to it."""
    if request.method == "POST":
        return _write(request)
    return _show(request, {})


@needs("work")
def _write(request: Request) -> HttpResponse:
    which = request.POST.get("what", "")
    own = roastery().currency
    form = _FORMS.get(which, RateForm)(request.POST, own=own)
    if not form.is_valid():
        return _show(request, {which: form})
    made, now = form.save(commit=False), timezone.now()
    deeds: dict[str, Callable[[], object]] = {
        "rate": lambda: actions.add_rate(rate=made, by=request.user, at=now),
        "green": lambda: actions.add_green_price(terms=made, by=request.user, at=now),
        "house": lambda: actions.add_house_costs(costs=made, by=request.user, at=now),
    }
    deeds.get(which, deeds["rate"])()
    done(request, "It counts from its date on.")
    return redirect("blends:money")


def _show(request: Request, sent: dict[str, Any]) -> HttpResponse:
    own = roastery().currency
    forms = {name: sent.get(name) or form(own=own) for name, form in _FORMS.items()}
    return render(request, "blends/money.html", {"page": money_page(own), **forms})
