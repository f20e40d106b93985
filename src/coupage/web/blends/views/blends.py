"""Pages about blends."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from coupage.web.blends import actions, forms
from coupage.web.blends.models import Blend
from coupage.web.blends.pages.blend import blend_page, blends_page
from coupage.web.common.feedback import done
from coupage.web.common.requests import Request
from coupage.web.common.revisions import StaleError, revision_of, stale
from coupage.web.people.access import needs
from coupage.web.people.archive import archive_or_back
from coupage.web.people.queries import roastery

__all__ = ["add_blend", "archive_blend", "blend", "change_blend", "index"]


@needs("see")
@require_safe
def index(request: Request) -> HttpResponse:
    """List the blends."""
    page = blends_page(request, roastery().currency)
    return render(request, "blends/index.html", {"page": page})


@needs("see")
@require_safe
def blend(request: Request, pk: int) -> HttpResponse:
    """Show one blend and its recipes."""
    return render(request, "blends/blend.html", {"page": blend_page(pk)})


@needs("work")
@require_http_methods(["GET", "POST"])
def add_blend(request: Request) -> HttpResponse:
    """Add a blend."""
    form = forms.BlendForm(request.POST or None, unit=request.user.mass_unit)
    if request.method == "POST" and form.is_valid():
        made = actions.add_blend(blend=form.save(commit=False), by=request.user, at=timezone.now())
        done(request, f"{made.name} is added; write its first recipe.")
        return redirect("blends:add-recipe", made.pk)
    return render(request, "blends/add_blend.html", {"form": form})


@needs("work")
@require_http_methods(["GET", "POST"])
def change_blend(request: Request, pk: int) -> HttpResponse:
    """Change a blend's name, brief, weekly amount or note."""
    blend = get_object_or_404(Blend, pk=pk)
    name, revision = blend.name, blend.revision
    unit = request.user.mass_unit
    form = forms.BlendForm(request.POST or None, instance=blend, unit=unit)
    page: dict[str, Any] = {"form": form, "pk": pk, "name": name, "revision": revision}
    if request.method == "POST" and form.is_valid():
        try:
            actions.change_blend(
                blend=form.save(commit=False),
                revision=revision_of(request),
                by=request.user,
                at=timezone.now(),
            )
        except StaleError as problem:
            saved = Blend.objects.get(pk=pk)
            page |= stale(form, forms.BlendForm(instance=saved, unit=unit), problem, saved)
        else:
            done(request, f"{blend.name} is changed.")
            return redirect("blends:blend", pk)
    return render(request, "blends/change_blend.html", page)


@needs("work")
@require_POST
def archive_blend(request: Request, pk: int) -> HttpResponse:
    """Put a blend away, or take it out again (``?back``)."""
    blend = get_object_or_404(Blend, pk=pk)
    return archive_or_back(request, blend, reverse("blends:blend", args=[pk]))
