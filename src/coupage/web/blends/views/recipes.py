"""Pages about recipes: writing, their life, weighing, making a sample."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from coupage.errors import InputError
from coupage.web.blends import actions, forms, queries
from coupage.web.blends.models import Blend, Recipe
from coupage.web.blends.pages.recipe import recipe_page, stale_recipe
from coupage.web.blends.pages.weigh import weigh_sheet
from coupage.web.common.dates import day_text
from coupage.web.common.feedback import done, sentence
from coupage.web.common.requests import Request
from coupage.web.common.revisions import StaleError, revision_of
from coupage.web.people.access import needs
from coupage.web.people.queries import roastery

__all__ = [
    "add_recipe",
    "approve",
    "change_recipe",
    "make_sample",
    "put_in_service",
    "recipe",
    "retire",
    "weighing",
]


@needs("see")
@require_safe
def recipe(request: Request, pk: int) -> HttpResponse:
    """Show one recipe: its taste, its cost, its life."""
    return render(request, "blends/recipe.html", {"page": recipe_page(pk, roastery().currency)})


@needs("work")
@require_http_methods(["GET", "POST"])
def add_recipe(request: Request, pk: int) -> HttpResponse:
    """Write the next recipe of a blend, beginning from its newest."""
    blend = get_object_or_404(Blend, pk=pk)
    newest = queries.recipes().filter(blend=blend).order_by("-version").first()
    form = forms.RecipeForm(request.POST or None)
    shares = forms.share_forms(newest, request.POST or None)
    if request.method == "POST" and form.is_valid() and shares.is_valid():
        made = actions.add_recipe(
            blend=blend,
            shares=shares.shares(),
            reason=form.cleaned_data["reason"],
            by=request.user,
            at=timezone.now(),
        )
        done(request, f"{made} is a trial now.")
        return redirect("blends:recipe", made.pk)
    return render(
        request, "blends/add_recipe.html", {"blend": blend, "form": form, "shares": shares}
    )


@needs("work")
@require_http_methods(["GET", "POST"])
def change_recipe(request: Request, pk: int) -> HttpResponse:
    """Change a trial recipe."""
    recipe = get_object_or_404(queries.recipes(), pk=pk)
    form = forms.RecipeForm(request.POST or None, initial={"reason": recipe.reason})
    shares = forms.share_forms(recipe, request.POST or None)
    page: dict[str, Any] = {
        "recipe": recipe,
        "form": form,
        "shares": shares,
        "revision": recipe.revision,
    }
    if request.method == "POST" and form.is_valid() and shares.is_valid():
        try:
            actions.change_recipe(
                recipe=recipe,
                shares=shares.shares(),
                reason=form.cleaned_data["reason"],
                revision=revision_of(request),
                by=request.user,
                at=timezone.now(),
            )
        except StaleError as problem:
            page |= stale_recipe(form, shares, problem, pk)
        except InputError as problem:
            form.add_error(None, sentence(problem))
        else:
            done(request, f"{recipe} is changed.")
            return redirect("blends:recipe", pk)
    return render(request, "blends/change_recipe.html", page)


@needs("work")
@require_http_methods(["GET", "POST"])
def approve(request: Request, pk: int) -> HttpResponse:
    """Approve a trial, saying on what ground."""
    return _step(
        request,
        pk,
        forms.ReasonForm(request.POST or None),
        actions.approve_recipe,
        title="Approve",
        says="From now on this recipe stays what it is; changes need a new version.",
        after="is approved",
    )


@needs("work")
@require_http_methods(["GET", "POST"])
def put_in_service(request: Request, pk: int) -> HttpResponse:
    """Make the blend by this recipe from a date on."""
    return _step(
        request,
        pk,
        forms.ServiceForm(request.POST or None),
        actions.put_in_service,
        title="Put into service",
        says="The recipe in service until then is retired on the same date.",
        after="is in service",
    )


@needs("work")
@require_http_methods(["GET", "POST"])
def retire(request: Request, pk: int) -> HttpResponse:
    """Take a recipe out of use."""
    return _step(
        request,
        pk,
        forms.ServiceForm(request.POST or None),
        actions.retire_recipe,
        title="Retire",
        says="The blend then has no recipe in service, until another is put there.",
        after="is retired",
    )


def _step(
    request: Request,
    pk: int,
    form: forms.ReasonForm,
    action: Callable[..., Recipe],
    *,
    title: str,
    says: str,
    after: str,
) -> HttpResponse:
    recipe = get_object_or_404(queries.recipes(), pk=pk)
    if request.method == "POST" and form.is_valid():
        try:
            action(recipe=recipe, by=request.user, at=timezone.now(), **form.cleaned_data)
        except InputError as problem:
            form.add_error(None, sentence(problem))
        else:
            done(request, f"{recipe} {after}.")
            return redirect("blends:recipe", pk)
    page = {"recipe": recipe, "form": form, "title": title, "says": says}
    return render(request, "blends/step.html", page)


@needs("see")
@require_safe
def weighing(request: Request, pk: int) -> HttpResponse:
    """Show the weighing sheet of a recipe, ready to print."""
    recipe = get_object_or_404(queries.recipes(), pk=pk)
    approaches = [share.approach for share in recipe.shares.all()]
    found = queries.newest_usable_batches(approaches)
    batches = {approach: found[approach.pk] for approach in approaches}
    unit = request.user.mass_unit
    asked = request.GET if "total" in request.GET else None
    form = forms.WeighForm(asked, unit=unit, batches=batches)
    page: dict[str, Any] = {"recipe": recipe, "form": form, "sheet": None}
    if form.is_bound and form.is_valid():
        try:
            page["sheet"] = weigh_sheet(
                recipe,
                total_g=form.cleaned_data["total"],
                loads=int(form.cleaned_data["loads"] or 1),
                resolution_g=form.resolution_g(),
                batches=form.chosen(),
                unit=unit,
            )
        except InputError as problem:
            form.add_error("resolution", sentence(problem))
    template = "blends/weighing_sheet.html" if page["sheet"] else "blends/weighing.html"
    return render(request, template, page)


@needs("work")
@require_http_methods(["GET", "POST"])
def make_sample(request: Request, pk: int) -> HttpResponse:
    """Make a sample for the table from the newest usable batch of each coffee."""
    recipe = get_object_or_404(queries.recipes(), pk=pk)
    approaches = [share.approach for share in recipe.shares.all()]
    found = queries.newest_usable_batches(approaches)
    batches = {a: found[a.pk][0] for a in approaches if found[a.pk]}
    today = timezone.localdate()
    label = f"{recipe.blend.name} v{recipe.version}, {day_text(today, year=False)}"
    form = forms.SampleForm(request.POST or None, initial={"label": label})
    if request.method == "POST" and form.is_valid():
        try:
            sample = actions.make_sample(
                recipe=recipe,
                batches=batches,
                label=form.cleaned_data["label"],
                on=today,
                by=request.user,
                at=timezone.now(),
            )
        except ValidationError as problem:
            form.add_error("label", problem.messages[0])
        except InputError as problem:
            form.add_error(None, sentence(problem))
        else:
            done(request, f"{sample.label} can be put on a table.")
            return redirect("cuppings:index")
    page = {"recipe": recipe, "form": form, "batches": batches}
    return render(request, "blends/make_sample.html", page)
