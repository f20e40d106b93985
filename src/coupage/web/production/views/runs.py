"""Pages about runs: planned, weighed, checked, packed, closed, held, voided."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms as django_forms
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from coupage.errors import InputError
from coupage.units import MassUnit
from coupage.web.common.feedback import done, not_done, sentence
from coupage.web.common.requests import Request
from coupage.web.people.access import needs
from coupage.web.production import actions, forms, queries
from coupage.web.production.models import Run
from coupage.web.production.pages.lists import runs_page
from coupage.web.production.pages.plan import PlanPage, last_rest, plan_page
from coupage.web.production.pages.run import RunPage, run_page

__all__ = [
    "add",
    "check",
    "close",
    "hold",
    "index",
    "pack",
    "release",
    "reopen",
    "run",
    "take_back",
    "void",
    "weigh",
]


def _unit(request: Request) -> MassUnit:
    return request.user.mass_unit  # type: ignore[return-value]


@needs("see")
@require_safe
def index(request: Request) -> HttpResponse:
    """List the runs."""
    return render(request, "production/index.html", {"page": runs_page(request)})


@needs("work")
@require_http_methods(["GET", "POST"])
def add(request: Request) -> HttpResponse:
    """Plan a run (GET looks, with the answers in the address) and begin it (POST)."""
    rules = queries.rules()
    data = request.POST if request.method == "POST" else request.GET
    asked = data if "recipe" in data and ("total" in data or request.method == "POST") else None
    form = forms.PlanForm(
        asked, unit=_unit(request), rules=rules, initial={"recipe": request.GET.get("recipe")}
    )
    page: PlanPage | None = None
    if form.is_bound and form.is_valid():
        page = _planned(request, form, data)
    if request.method == "POST" and page is not None and page.ready:
        try:
            run = actions.begin_run(
                recipe=page.recipe,
                draws=page.plan.draws,
                lifts=page.plan.lifts,
                step_g=int(form.cleaned_data["step"]),
                on=form.cleaned_data["on"],
                by=request.user,
                at=timezone.now(),
            )
        except InputError as problem:
            form.add_error(None, sentence(problem))
        else:
            done(request, f"{run} is begun; its batches are reserved.")
            return redirect("production:run", run.pk)
    status = 422 if request.method == "POST" else 200
    context = {"form": form, "page": page, "rules": rules}
    return render(request, "production/plan.html", context, status=status)


def _planned(request: Request, form: forms.PlanForm, data: Any) -> PlanPage | None:
    cleaned = form.cleaned_data
    ticked = None
    if "ticked" in data:
        keys = data.getlist("batch")
        ticked = {int(key) for key in keys if key.isascii() and key.isdigit() and len(key) < 19}
    try:
        return plan_page(
            cleaned["recipe"],
            total_g=cleaned["total"],
            blender_g=cleaned["blender"],
            step_g=int(cleaned["step"]),
            on=cleaned["on"],
            use_rest=cleaned["rest"] and last_rest(cleaned["recipe"], cleaned["on"]) is not None,
            ticked=ticked,
            rules=queries.rules(),
            unit=_unit(request),
        )
    except InputError as problem:
        form.add_error("total", sentence(problem))
        return None


@needs("see")
@require_safe
def run(request: Request, pk: int) -> HttpResponse:
    """Show one run: what is next, and where its kilograms are."""
    return _show(request, pk)


def _show(request: Request, pk: int, status: int = 200, **bound: django_forms.Form) -> HttpResponse:
    page = run_page(pk, _unit(request))
    context: dict[str, object] = {"page": page, **_forms(request, page), **bound}
    return render(request, "production/run.html", context, status=status)


def _forms(request: Request, page: RunPage) -> dict[str, object]:
    """Return the empty forms of what may be done next."""
    unit, run = _unit(request), page.run
    found: dict[str, object] = {}
    if page.next_lift is not None:
        found["lift_form"] = _lift_form(run, page.next_lift.number, unit)
    if run.state == Run.State.OPEN and run.in_g:
        found["pack_form"] = forms.PackBagsForm(blend=run.recipe.blend)
        found["close_form"] = forms.CloseForm(unit=unit, initial={"left": run.loose_g})
    shares = [s.approach_id for s in run.recipe.shares.all()]
    if run.in_g and len(shares) > 1 and run.state != Run.State.VOID:
        found["mixing_form"] = forms.MixingForm(approaches=shares)
    return found


def _lift_form(run: Run, lift: int, unit: str, data: Any = None) -> forms.LiftForm:
    parts = list(queries.parts().filter(run=run).order_by("place"))
    return forms.LiftForm(data, parts=parts, lift=lift, unit=unit)


def _do(
    request: Request,
    pk: int,
    name: str,
    form: django_forms.Form,
    deed: Callable[[], object],
    says: str,
) -> HttpResponse:
    """Do what a form of the run's page asks; refused, the page comes back with what was typed."""
    if form.is_valid():
        try:
            deed()
        except InputError as problem:
            form.add_error(None, sentence(problem))
        except ValidationError as problem:
            form.add_error(None, " ".join(problem.messages))
        else:
            done(request, says)
            return redirect("production:run", pk)
    return _show(request, pk, 422, **{name: form})


@needs("work")
@require_POST
def weigh(request: Request, pk: int, lift: int) -> HttpResponse:
    """Record what the scale showed for one lift."""
    found = get_object_or_404(Run, pk=pk)
    planned = "as_planned" in request.POST
    form = _lift_form(found, lift, _unit(request), request.POST)
    if planned:
        for field in form.fields.values():
            field.required = False

    def deed() -> None:
        actions.weigh_lift(
            run=found,
            lift=lift,
            weights=form.as_planned() if planned else form.weights(),
            on=timezone.localdate(),
            by=request.user,
            at=timezone.now(),
        )

    return _do(request, pk, "lift_form", form, deed, f"Lift {lift} is weighed.")


@needs("work")
@require_POST
def take_back(request: Request, pk: int, lift: int) -> HttpResponse:
    """Take the weighing of a lift back."""
    found = get_object_or_404(Run, pk=pk)
    try:
        actions.take_back_lift(
            run=found, lift=lift, on=timezone.localdate(), by=request.user, at=timezone.now()
        )
    except InputError as problem:
        not_done(request, sentence(problem))
    else:
        done(request, f"Lift {lift} is taken back; weigh it again.")
    return redirect("production:run", pk)


@needs("work")
@require_POST
def check(request: Request, pk: int) -> HttpResponse:
    """Record a mixing check."""
    found = get_object_or_404(Run.objects.select_related("recipe"), pk=pk)
    shares = [s.approach_id for s in found.recipe.shares.all()]
    form = forms.MixingForm(request.POST, approaches=shares)

    def deed() -> None:
        actions.check_mixing(
            run=found,
            approach=form.cleaned_data["approach"],
            sample_g=int(form.cleaned_data["sample_g"]),
            bean_mg=int(form.cleaned_data["bean_mg"]),
            shares_ppm=form.cleaned_data["shares_ppm"],
            by=request.user,
            at=timezone.now(),
        )

    return _do(request, pk, "mixing_form", form, deed, "The mixing check is kept.")


@needs("work")
@require_POST
def pack(request: Request, pk: int) -> HttpResponse:
    """Pack bags."""
    found = get_object_or_404(Run.objects.select_related("recipe__blend"), pk=pk)
    form = forms.PackBagsForm(request.POST, blend=found.recipe.blend)

    def deed() -> None:
        actions.pack_bags(
            run=found,
            pack=form.cleaned_data["pack"],
            bags=int(form.cleaned_data["bags"]),
            on=max(timezone.localdate(), found.on),
            by=request.user,
            at=timezone.now(),
        )

    return _do(request, pk, "pack_form", form, deed, "The bags are on the shelf.")


@needs("work")
@require_POST
def close(request: Request, pk: int) -> HttpResponse:
    """Close a run, its kilograms reconciled."""
    found = get_object_or_404(Run, pk=pk)
    form = forms.CloseForm(request.POST, unit=_unit(request))

    def deed() -> None:
        actions.close_run(
            run=found,
            lost_g=form.cleaned_data["lost"],
            left_g=form.cleaned_data["left"],
            reason=form.cleaned_data["reason"],
            on=max(timezone.localdate(), found.on),
            by=request.user,
            at=timezone.now(),
        )

    return _do(request, pk, "close_form", form, deed, f"{found} is closed.")


@needs("work")
@require_POST
def reopen(request: Request, pk: int) -> HttpResponse:
    """Open a closed run again."""
    found = get_object_or_404(Run, pk=pk)
    try:
        actions.reopen_run(run=found, by=request.user, at=timezone.now())
    except InputError as problem:
        not_done(request, sentence(problem))
    else:
        done(request, f"{found} is open again.")
    return redirect("production:run", pk)


@needs("work")
@require_http_methods(["GET", "POST"])
def void(request: Request, pk: int) -> HttpResponse:
    """Undo a whole run, saying why."""
    found = get_object_or_404(Run, pk=pk)

    def deed(reason: str) -> None:
        actions.void_run(
            run=found,
            reason=reason,
            on=max(timezone.localdate(), found.on),
            by=request.user,
            at=timezone.now(),
        )

    says = "Bags count as unpacked and the coffee goes back into its batches. Nothing is deleted."
    return _step(request, found, deed, "Void this run", says, f"{found} is void.")


@needs("work")
@require_http_methods(["GET", "POST"])
def hold(request: Request, pk: int) -> HttpResponse:
    """Hold a lot, saying why."""
    found = get_object_or_404(Run, pk=pk)

    def deed(reason: str) -> None:
        actions.hold_runs(runs=[found], reason=reason, by=request.user, at=timezone.now())

    says = "Nothing of it can be sent or blended until somebody lets it go."
    return _step(request, found, deed, "Put on hold", says, f"{found} is on hold.")


@needs("work")
@require_http_methods(["GET", "POST"])
def release(request: Request, pk: int) -> HttpResponse:
    """Let a held lot go, saying why."""
    found = get_object_or_404(Run, pk=pk)

    def deed(reason: str) -> None:
        actions.release_runs(runs=[found], reason=reason, by=request.user, at=timezone.now())

    return _step(request, found, deed, "Lift the hold", "", f"{found} may be sent again.")


def _step(
    request: Request, run: Run, deed: Callable[[str], None], title: str, says: str, after: str
) -> HttpResponse:
    form = forms.ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            deed(form.cleaned_data["reason"])
        except InputError as problem:
            form.add_error(None, sentence(problem))
        else:
            done(request, after)
            return redirect("production:run", run.pk)
    context = {"form": form, "run": run, "title": title, "says": says}
    return render(request, "production/step.html", context)
