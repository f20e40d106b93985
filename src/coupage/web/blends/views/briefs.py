"""Pages about briefs, and the choice of a recipe for one."""

from __future__ import annotations

from urllib.parse import urlencode

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from coupage.errors import InputError
from coupage.web.blends import actions, forms
from coupage.web.blends.models import Blend, Brief, Want
from coupage.web.blends.pages.brief import brief_page, briefs_page, stale_brief
from coupage.web.blends.pages.choose import choice_page
from coupage.web.blends.reference import brief_like
from coupage.web.coffees.models import Approach
from coupage.web.common.feedback import done, not_done, sentence
from coupage.web.common.requests import Request
from coupage.web.common.revisions import StaleError, revision_of
from coupage.web.people.access import needs
from coupage.web.people.archive import archive_or_back
from coupage.web.people.queries import roastery

__all__ = ["add_brief", "archive_brief", "brief", "briefs", "change_brief", "choose", "take_choice"]


@needs("see")
@require_safe
def briefs(request: Request) -> HttpResponse:
    """List the briefs."""
    return render(request, "blends/briefs.html", {"page": briefs_page(request)})


@needs("see")
@require_safe
def brief(request: Request, pk: int) -> HttpResponse:
    """Show one brief."""
    return render(request, "blends/brief.html", {"page": brief_page(pk, roastery().currency)})


@needs("work")
@require_http_methods(["GET", "POST"])
def add_brief(request: Request) -> HttpResponse:
    """Write a brief, from nothing or to taste like what ``?recipe=`` or ``?sample=`` names."""
    currency = roastery().currency
    start = forms.LikeForm(request.GET if request.GET else None)
    like, problem = None, ""
    if request.method == "GET" and start.is_bound and start.is_valid():
        try:
            like = brief_like(start.shares(), start.named(), start.cleaned_data["within"])
        except InputError as error:
            problem = sentence(error)
    form = forms.BriefForm(
        request.POST or None, currency=currency, initial={"name": like.name} if like else None
    )
    rows = forms.want_forms(None, request.POST or None, like=like.wants if like else {})
    limits = forms.limit_forms(None, request.POST or None)
    if request.method == "POST" and _all_valid(form, rows, limits):
        try:
            made = actions.add_brief(
                brief=form.save(commit=False),
                wants=_wants(rows),
                limits=forms.limits_of(limits),
                by=request.user,
                at=timezone.now(),
            )
        except InputError as error:
            form.add_error(None, sentence(error))
        else:
            done(request, f"{made.name} is written.")
            return redirect("blends:brief", made.pk)
    page = {"form": form, "rows": rows, "limits": limits, "start": start, "like": like}
    return render(request, "blends/add_brief.html", page | {"unlike": problem})


@needs("work")
@require_http_methods(["GET", "POST"])
def change_brief(request: Request, pk: int) -> HttpResponse:
    """Change a brief."""
    brief = get_object_or_404(Brief, pk=pk)
    name, revision = brief.name, brief.revision
    rows = forms.want_forms(brief, request.POST or None)
    limits = forms.limit_forms(brief, request.POST or None)
    form = forms.BriefForm(request.POST or None, instance=brief, currency=roastery().currency)
    page = {"form": form, "rows": rows, "limits": limits, "pk": pk, "name": name}
    page["revision"] = revision
    if request.method == "POST" and _all_valid(form, rows, limits):
        try:
            actions.change_brief(
                brief=form.save(commit=False),
                wants=_wants(rows),
                limits=forms.limits_of(limits),
                revision=revision_of(request),
                by=request.user,
                at=timezone.now(),
            )
        except StaleError as problem:
            page |= stale_brief(form, rows, limits, problem, pk, roastery().currency)
        except InputError as problem:
            form.add_error(None, sentence(problem))
        else:
            done(request, f"{brief.name} is changed.")
            return redirect("blends:brief", pk)
    return render(request, "blends/change_brief.html", page)


def _all_valid(
    form: forms.BriefForm, rows: list[forms.WantForm], limits: list[forms.LimitForm]
) -> bool:
    # Every form is checked, so that every fault is shown at once.
    return all([form.is_valid(), *(row.is_valid() for row in [*rows, *limits])])


def _wants(rows: list[forms.WantForm]) -> list[Want]:
    return [want for row in rows if (want := row.want()) is not None]


@needs("work")
@require_POST
def archive_brief(request: Request, pk: int) -> HttpResponse:
    """Put a brief away, or take it out again (``?back``)."""
    brief = get_object_or_404(Brief, pk=pk)
    return archive_or_back(request, brief, reverse("blends:brief", args=[pk]))


@needs("see")
@require_safe
def choose(request: Request, pk: int) -> HttpResponse:
    """Search all recipes for those that serve a brief best."""
    brief = get_object_or_404(Brief.objects.prefetch_related("wants__attribute", "limits"), pk=pk)
    asked = "step" in request.GET
    form = forms.ChooseForm(request.GET if asked else {"step": "5", "in_stock": "on"})
    page = None
    if form.is_valid():
        page = choice_page(
            brief,
            step=int(form.cleaned_data["step"]) / 100,
            coffees=list(form.cleaned_data["coffees"]),
            in_stock=form.cleaned_data["in_stock"],
            currency=roastery().currency,
        )
    return render(request, "blends/choose.html", {"brief": brief, "form": form, "page": page})


@needs("work")
@require_POST
def take_choice(request: Request, pk: int) -> HttpResponse:
    """Make a chosen recipe the next trial of a blend."""
    brief = get_object_or_404(Brief, pk=pk)
    shares = _posted_shares(request)
    try:
        if not shares:
            raise InputError("choose a recipe of the list first")
        named = request.POST.get("blend", "")
        blend = Blend.objects.filter(pk=int(named)).first() if _is_key(named) else None
        if blend is None:
            raise InputError("choose the blend that the recipe is for, or add one first")
        recipe = actions.add_recipe(
            blend=blend,
            shares=shares,
            reason=f"Chosen for the brief {brief.name}.",
            by=request.user,
            at=timezone.now(),
        )
    except InputError as problem:
        not_done(request, sentence(problem))
        return redirect(_back_from_taking(request, pk))
    done(request, f"{recipe} is a trial now.")
    return redirect("blends:recipe", recipe.pk)


def _back_from_taking(request: Request, pk: int) -> str:
    """Return the page from which a recipe was to be taken, as it stood there."""
    if request.POST.get("from") == "triangle":
        query = urlencode({"r": request.POST.get("r", "")})
        return f"{reverse('blends:triangle', args=[pk])}?{query}"
    return f"{reverse('blends:choose', args=[pk])}?{request.GET.urlencode()}"


def _posted_shares(request: Request) -> dict[Approach, int]:
    """Read ``12:550000,14:450000``: approach and parts per million."""
    shares: dict[Approach, int] = {}
    for part in request.POST.get("shares", "").split(","):
        key, _, ppm = part.partition(":")
        if _is_key(key) and _is_key(ppm):
            approach = Approach.objects.filter(pk=int(key)).first()
            if approach is not None:
                shares[approach] = int(ppm)
    return shares


def _is_key(text: str) -> bool:
    # int() also takes digits of other scripts, and a database no number beyond its columns.
    return text.isascii() and text.isdigit() and len(text) < 18
