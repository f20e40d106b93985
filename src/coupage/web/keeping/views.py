"""Pages about keeping a coffee the same: one domain call each."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from coupage.errors import InputError
from coupage.web.batches.models import Batch
from coupage.web.coffees.models import Approach, Lot
from coupage.web.common.feedback import both_ways, done, sentence
from coupage.web.common.requests import Request
from coupage.web.common.revisions import StaleError, revision_of
from coupage.web.keeping import actions, forms, trying
from coupage.web.keeping.models import AgeingPlan, Retained
from coupage.web.keeping.pages import ageing as ageing_pages
from coupage.web.keeping.pages import charts, learning, losses, uniform
from coupage.web.people.access import needs

__all__ = [
    "ageing",
    "ageing_batch",
    "baseline",
    "chart",
    "end_ageing",
    "end_retained",
    "expected",
    "index",
    "learn",
    "plan_ageing",
    "retain",
    "try_roast",
    "uniformity",
]


@needs("see")
@require_safe
def index(request: Request) -> HttpResponse:
    """Show which charts signal."""
    return render(request, "keeping/index.html", {"page": charts.overview_page()})


@needs("see")
@require_safe
def chart(request: Request, pk: int) -> HttpResponse:
    """Show one chart of an approach on a machine (``?machine=&measure=&kind=``)."""
    page = charts.chart_page(request, pk)
    form = forms.BaselineForm(initial={"since": timezone.localdate()})
    return render(request, "keeping/chart.html", {"page": page, "form": form})


@needs("work")
@require_POST
def baseline(request: Request, pk: int) -> HttpResponse:
    """Begin the charts of an approach on a machine anew."""
    approach = get_object_or_404(Approach.objects.select_related("lot"), pk=pk)
    machine = charts.asked_machine(request)
    form = forms.BaselineForm(request.POST)
    if form.is_valid():
        try:
            actions.reset_baseline(
                approach=approach,
                machine=machine,
                by=request.user,
                at=timezone.now(),
                **form.cleaned_data,
            )
        except InputError as problem:
            form.add_error("reason", sentence(problem))
        else:
            done(request, "The charts begin anew.")
            back = reverse("keeping:chart", args=[pk])
            return redirect(f"{back}?{request.GET.urlencode()}")
    page = charts.chart_page(request, pk)
    return render(request, "keeping/chart.html", {"page": page, "form": form}, status=422)


@needs("see")
@require_safe
def expected(request: Request) -> HttpResponse:
    """Show the loss to plan with; ``?lot=`` shows how a lot's losses moved."""
    asked = request.GET.get("lot", "")
    lot = None
    if asked:
        keyed = asked.isascii() and asked.isdigit() and len(asked) < 19
        lot = Lot.objects.filter(pk=int(asked)).first() if keyed else None
        if lot is None:
            raise Http404("There is no such lot.")
    return render(request, "keeping/losses.html", {"page": losses.losses_page(lot)})


@needs("see")
@require_safe
def uniformity(request: Request) -> HttpResponse:
    """Ask whether batches of one coffee are the same (``?approach=&batch=&batch=``)."""
    return render(request, "keeping/uniformity.html", {"page": uniform.uniform_page(request)})


@needs("see")
@require_safe
def ageing(request: Request) -> HttpResponse:
    """Show the samples that are watched as they age, and the references put by."""
    return render(request, "keeping/ageing.html", {"page": ageing_pages.ageing_index()})


@needs("see")
@require_safe
def ageing_batch(request: Request, pk: int) -> HttpResponse:
    """Show how one batch ages (``?brief=``)."""
    return _ageing(request, pk)


def _ageing(
    request: Request,
    pk: int,
    *,
    plan: forms.AgeingForm | None = None,
    keep: forms.RetainForm | None = None,
    status: int = 200,
) -> HttpResponse:
    page = ageing_pages.ageing_page(request, pk)
    begun = {}
    if page.plan is not None:
        begun = {"days": ", ".join(map(str, page.plan.days)), "note": page.plan.note}
    context = {
        "page": page,
        "plan_form": plan or forms.AgeingForm(initial=begun),
        "keep_form": keep or forms.RetainForm(initial={"since": timezone.localdate()}),
    }
    return render(request, "keeping/ageing_batch.html", context, status=status)


@needs("work")
@require_POST
def plan_ageing(request: Request, pk: int) -> HttpResponse:
    """Plan re-cuppings of a batch, or change the plan."""
    batch = get_object_or_404(Batch, pk=pk)
    form = forms.AgeingForm(request.POST)
    if form.is_valid():
        try:
            actions.plan_ageing(
                batch=batch,
                revision=revision_of(request),
                by=request.user,
                at=timezone.now(),
                **form.cleaned_data,
            )
        except (StaleError, InputError) as problem:
            form.add_error("days", sentence(problem))
        else:
            done(request, f"{batch} will be asked for on those days.")
            return redirect("keeping:ageing-batch", pk)
    return _ageing(request, pk, plan=form, status=422)


@needs("work")
@require_POST
def end_ageing(request: Request, pk: int) -> HttpResponse:
    """Stop reminding, or take the plan up again (``?back``)."""
    plan = get_object_or_404(AgeingPlan.objects.select_related("batch"), batch__id=pk)

    def deed(away: bool) -> None:
        actions.end_ageing(plan=plan, ended=away, by=request.user, at=timezone.now())

    return both_ways(
        request,
        deed,
        there=f"{plan.batch} is no longer asked for",
        back=f"{plan.batch} is asked for again",
        to=reverse("keeping:ageing-batch", args=[pk]),
    )


@needs("work")
@require_POST
def retain(request: Request, pk: int) -> HttpResponse:
    """Put a sample of a batch by as the reference of its approach."""
    batch = get_object_or_404(
        Batch.objects.select_related("approach_version__approach__lot"), pk=pk
    )
    form = forms.RetainForm(request.POST)
    if form.is_valid():
        try:
            actions.retain(batch=batch, by=request.user, at=timezone.now(), **form.cleaned_data)
        except InputError as problem:
            form.add_error("reason", sentence(problem))
        else:
            done(request, f"{batch} is the reference now.")
            return redirect("keeping:ageing-batch", pk)
    return _ageing(request, pk, keep=form, status=422)


@needs("work")
@require_POST
def end_retained(request: Request, pk: int) -> HttpResponse:
    """Say that a retained reference is used up."""
    row = get_object_or_404(Retained.objects.select_related("batch", "approach__lot"), pk=pk)
    now = timezone.now()
    try:
        actions.end_retained(retained=row, on=timezone.localdate(now), by=request.user, at=now)
    except InputError as problem:
        raise Http404(sentence(problem)) from problem
    done(request, f"The reference of {row.approach} is used up.")
    return redirect("keeping:ageing")


@needs("see")
@require_safe
def learn(request: Request) -> HttpResponse:
    """Show which roast numbers go with which taste (``?attribute=&approach=``)."""
    page = learning.learning_page(request)
    return render(request, "keeping/learning.html", {"page": page, "form": forms.TryForm()})


@needs("work")
@require_http_methods(["GET", "POST"])
def try_roast(request: Request, pk: int) -> HttpResponse:
    """Make a roast to try out of an approach: a little longer, a little hotter."""
    approach = get_object_or_404(Approach.objects.select_related("lot"), pk=pk)
    form = forms.TryForm(request.POST or None)
    page: dict[str, Any] = {"approach": approach, "form": form}
    if request.method == "POST" and form.is_valid():
        try:
            made = trying.make_trial_roast(
                approach=approach, by=request.user, at=timezone.now(), **form.cleaned_data
            )
        except InputError as problem:
            form.add_error("name", sentence(problem))
        else:
            done(
                request,
                f"{made} can be roasted. Once it is, plan a table with it beside {approach}.",
            )
            return redirect("coffees:lot", approach.lot_id)
    return render(request, "keeping/try.html", page)
