"""What every table draws on: samples, attributes, protocols, tasters."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from coupage.web.common.feedback import done
from coupage.web.common.requests import Request
from coupage.web.cuppings import forms, queries
from coupage.web.cuppings.actions import settings
from coupage.web.cuppings.models import Attribute, Protocol, Sample, Taster
from coupage.web.cuppings.pages import lists
from coupage.web.people.access import needs
from coupage.web.people.archive import archive_or_back

__all__ = [
    "add_attribute",
    "add_protocol",
    "add_taster",
    "archive_attribute",
    "archive_protocol",
    "archive_sample",
    "archive_taster",
    "attributes",
    "change_attribute",
    "change_protocol",
    "change_taster",
    "protocols",
    "samples",
    "tasters",
]


# --- samples -------------------------------------------------------------------------------------


@needs("see")
@require_safe
def samples(request: Request) -> HttpResponse:
    """List the samples."""
    return render(request, "cuppings/samples.html", {"samples": lists.samples_list(request)})


@needs("work")
@require_POST
def archive_sample(request: Request, pk: int) -> HttpResponse:
    """Put a sample away, or take it out again (``?back``)."""
    thing = get_object_or_404(Sample, pk=pk)
    return archive_or_back(request, thing, reverse("cuppings:samples"))


# --- attributes ----------------------------------------------------------------------------------


@needs("see")
@require_safe
def attributes(request: Request) -> HttpResponse:
    """List the attributes."""
    page = {"attributes": lists.attributes_list(request)}
    return render(request, "cuppings/attributes.html", page)


@needs("work")
@require_http_methods(["GET", "POST"])
def add_attribute(request: Request) -> HttpResponse:
    """Add something that is rated."""
    form = forms.AttributeForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        made = settings.add_attribute(
            attribute=form.save(commit=False), by=request.user, at=timezone.now()
        )
        done(request, f"{made} is added.")
        return redirect("cuppings:attributes")
    page = {"form": form, "title": "Add an attribute", "back": "cuppings:attributes"}
    return render(request, "cuppings/settings_form.html", page)


@needs("work")
@require_http_methods(["GET", "POST"])
def change_attribute(request: Request, pk: int) -> HttpResponse:
    """Change an attribute: its words, its tolerance, its place."""
    attribute = get_object_or_404(Attribute, pk=pk)
    title = f"Change {attribute}"
    form = forms.AttributeForm(request.POST or None, instance=attribute)
    if request.method == "POST" and form.is_valid():
        made = settings.change_attribute(
            attribute=form.save(commit=False), by=request.user, at=timezone.now()
        )
        done(request, f"{made} is changed.")
        return redirect("cuppings:attributes")
    page = {"form": form, "title": title, "back": "cuppings:attributes"}
    return render(request, "cuppings/settings_form.html", page)


@needs("work")
@require_POST
def archive_attribute(request: Request, pk: int) -> HttpResponse:
    """Put an attribute away, or take it out again (``?back``)."""
    thing = get_object_or_404(Attribute, pk=pk)
    return archive_or_back(request, thing, reverse("cuppings:attributes"))


# --- protocols -----------------------------------------------------------------------------------


@needs("see")
@require_safe
def protocols(request: Request) -> HttpResponse:
    """List the protocols with their steps."""
    return render(request, "cuppings/protocols.html", {"protocols": lists.protocols_list(request)})


@needs("work")
@require_http_methods(["GET", "POST"])
def add_protocol(request: Request) -> HttpResponse:
    """Write a protocol, beginning from the published ratio."""
    start = {
        "dose_mg": "8.25",
        "water_g": 150,
        "water_c": "93",
        "passes": "warm",
        "cups_per_sample": 1,
        "source": "Ratio 8.25 g to 150 mL and 93 °C: SCA Coffee Standards 2018",
    }
    form = forms.ProtocolForm(request.POST or None, initial=start)
    return _protocol(request, form, forms.step_forms((), request.POST or None), "Write a protocol")


@needs("work")
@require_http_methods(["GET", "POST"])
def change_protocol(request: Request, pk: int) -> HttpResponse:
    """Change a protocol and its steps."""
    protocol = get_object_or_404(queries.protocols(), pk=pk)
    title = f"Change {protocol}"
    form = forms.ProtocolForm(request.POST or None, instance=protocol)
    steps = forms.step_forms(list(protocol.steps.all()), request.POST or None)
    return _protocol(request, form, steps, title)


def _protocol(request: Request, form: forms.ProtocolForm, steps: Any, title: str) -> HttpResponse:
    if request.method == "POST" and form.is_valid() and steps.is_valid():
        new = form.instance.pk is None
        deed = settings.add_protocol if new else settings.change_protocol
        made = deed(
            protocol=form.save(commit=False),
            steps=steps.steps(),
            by=request.user,
            at=timezone.now(),
        )
        done(request, f"{made} is {'added' if new else 'changed'}.")
        return redirect("cuppings:protocols")
    page = {"form": form, "steps": steps, "title": title}
    return render(request, "cuppings/protocol_form.html", page)


@needs("work")
@require_POST
def archive_protocol(request: Request, pk: int) -> HttpResponse:
    """Put a protocol away, or take it out again (``?back``)."""
    thing = get_object_or_404(Protocol, pk=pk)
    return archive_or_back(request, thing, reverse("cuppings:protocols"))


# --- tasters -------------------------------------------------------------------------------------


@needs("work")
@require_safe
def tasters(request: Request) -> HttpResponse:
    """List the tasters: people and guests."""
    return render(request, "cuppings/tasters.html", {"tasters": lists.tasters_list(request)})


@needs("work")
@require_http_methods(["GET", "POST"])
def add_taster(request: Request) -> HttpResponse:
    """Add a taster."""
    form = forms.TasterForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        made = settings.add_taster(
            taster=form.save(commit=False), by=request.user, at=timezone.now()
        )
        done(request, f"{made} is added.")
        return redirect("cuppings:tasters")
    page = {"form": form, "title": "Add a taster", "back": "cuppings:tasters"}
    return render(request, "cuppings/settings_form.html", page)


@needs("work")
@require_http_methods(["GET", "POST"])
def change_taster(request: Request, pk: int) -> HttpResponse:
    """Give a taster another name or account."""
    taster = get_object_or_404(Taster, pk=pk)
    title = f"Change {taster}"
    form = forms.TasterForm(request.POST or None, instance=taster)
    if request.method == "POST" and form.is_valid():
        made = settings.change_taster(
            taster=form.save(commit=False), by=request.user, at=timezone.now()
        )
        done(request, f"{made} is changed.")
        return redirect("cuppings:tasters")
    page = {"form": form, "title": title, "back": "cuppings:tasters"}
    return render(request, "cuppings/settings_form.html", page)


@needs("work")
@require_POST
def archive_taster(request: Request, pk: int) -> HttpResponse:
    """Put a taster away, or take them out again (``?back``)."""
    thing = get_object_or_404(Taster, pk=pk)
    return archive_or_back(request, thing, reverse("cuppings:tasters"))
