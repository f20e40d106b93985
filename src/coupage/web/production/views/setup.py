"""Pages about sizes and rules."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from coupage.web.common.feedback import done
from coupage.web.common.requests import Request
from coupage.web.people.access import needs
from coupage.web.people.archive import archive_or_back
from coupage.web.production import actions, forms, queries
from coupage.web.production.models import Pack

__all__ = ["add_size", "archive_size", "change_size", "rules", "sizes"]


@needs("see")
@require_safe
def sizes(request: Request) -> HttpResponse:
    """List the sizes in which blends are sold."""
    packs = Pack.objects.select_related("blend").order_by("archived", "blend__name", "bag_g")
    return render(request, "production/sizes.html", {"packs": packs})


@needs("work")
@require_http_methods(["GET", "POST"])
def add_size(request: Request) -> HttpResponse:
    """Add a size."""
    form = forms.PackForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        pack = actions.add_pack(pack=form.save(commit=False), by=request.user, at=timezone.now())
        done(request, f"{pack} is added.")
        return redirect("production:sizes")
    return render(request, "production/size.html", {"form": form, "title": "Add a size"})


@needs("work")
@require_http_methods(["GET", "POST"])
def change_size(request: Request, pk: int) -> HttpResponse:
    """Change a size."""
    pack = get_object_or_404(Pack.objects.select_related("blend"), pk=pk)
    title = str(pack)
    form = forms.PackForm(request.POST or None, instance=pack)
    if request.method == "POST" and form.is_valid():
        actions.change_pack(pack=form.save(commit=False), by=request.user, at=timezone.now())
        done(request, f"{pack} is changed.")
        return redirect("production:sizes")
    return render(request, "production/size.html", {"form": form, "title": title})


@needs("work")
@require_POST
def archive_size(request: Request, pk: int) -> HttpResponse:
    """Put a size away, or take it out again (``?back``)."""
    pack = get_object_or_404(Pack.objects.select_related("blend"), pk=pk)
    return archive_or_back(request, pack, reverse("production:sizes"))


@needs("work")
@require_http_methods(["GET", "POST"])
def rules(request: Request) -> HttpResponse:
    """Say how this roastery blends and labels."""
    form = forms.RulesForm(
        request.POST or None, instance=queries.rules(), unit=request.user.mass_unit
    )
    if request.method == "POST" and form.is_valid():
        actions.change_rules(rules=form.save(commit=False), by=request.user, at=timezone.now())
        done(request, "It is kept; runs that are begun keep what they have.")
        return redirect("production:index")
    return render(request, "production/rules.html", {"form": form})
