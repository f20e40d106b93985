"""The blends of a plan, changed by hand."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from coupage.errors import InputError
from coupage.units import PPM
from coupage.web.common.feedback import done, not_done
from coupage.web.common.requests import Request
from coupage.web.common.revisions import StaleError, revision_of
from coupage.web.people.access import needs
from coupage.web.trials import actions
from coupage.web.trials.design import Shares
from coupage.web.trials.forms import SharesForm
from coupage.web.trials.models import Plan
from coupage.web.trials.pages.trial import Bench, bench_of

__all__ = ["add_trial", "leave_out", "put_back", "trial"]


@needs("work")
@require_http_methods(["GET", "POST"])
def trial(request: Request, pk: int, number: int) -> HttpResponse:
    """Change one blend: see what is lost, then keep it."""
    return _edit(request, bench_of(pk, number))


@needs("work")
@require_http_methods(["GET", "POST"])
def add_trial(request: Request, pk: int) -> HttpResponse:
    """Add a blend by hand: see what it tells, then keep it."""
    return _edit(request, bench_of(pk, None))


def _edit(request: Request, bench: Bench) -> HttpResponse:
    form = SharesForm(bench.room.asked.coffees, request.POST or None, shares=bench.own)
    page: dict[str, Any] = {"bench": bench, "form": form, "revision": bench.plan.revision}
    if request.method == "POST" and form.is_valid() and _may_be_cupped(bench, form):
        page["answer"] = bench.what_is_lost(form.shares())
        if "keep" in request.POST:
            try:
                return _keep(request, bench, form.shares())
            except StaleError as problem:
                page |= {"stale": f"{problem}."}
            except InputError as problem:
                form.add_error(None, f"{problem}.".capitalize())
        else:
            page["revision"] = revision_of(request)
    return render(request, "trials/trial.html", page)


def _may_be_cupped(bench: Bench, form: SharesForm) -> bool:
    try:
        problems = bench.problems(form.shares())
    except InputError as error:
        problems = [f"{error}".rstrip(".") + "."]
    for problem in problems:
        form.add_error(None, problem)
    return not problems


def _keep(request: Request, bench: Bench, shares: Shares) -> HttpResponse:
    plan, revision = bench.plan, revision_of(request)
    own = dict(zip(bench.room.asked.coffees, shares, strict=True))
    common: dict[str, Any] = {"revision": revision, "by": request.user, "at": timezone.now()}
    if bench.trial is None:
        made = actions.add_trial(plan=plan, shares=own, **common)
        done(request, f"Sample {made.number} is added.")
        return redirect(f"{reverse('trials:plan', args=[plan.pk])}#trial-{made.number}")
    actions.change_trial(trial=bench.trial, shares=own, **common)
    number = bench.trial.number
    undo = _way_back(plan, number, bench.own or (), revision + 1)
    done(request, f"Sample {number} is changed.", undo=undo)
    return redirect(f"{reverse('trials:plan', args=[plan.pk])}#trial-{number}")


@needs("work")
@require_POST
def leave_out(request: Request, pk: int, number: int) -> HttpResponse:
    """Leave one blend out of the plan."""
    bench = bench_of(pk, number)
    if bench.trial is not None and bench.own is not None:
        revision = revision_of(request)
        try:
            actions.remove_trial(
                trial=bench.trial, revision=revision, by=request.user, at=timezone.now()
            )
        except InputError as problem:
            not_done(request, f"{problem}.".capitalize())
        else:
            undo = _way_back(bench.plan, number, bench.own, revision + 1)
            done(request, f"Sample {number} is left out.", undo=undo)
    return redirect("trials:plan", pk)


@needs("work")
@require_POST
def put_back(request: Request, pk: int, number: int) -> HttpResponse:
    """Take a change by hand back: ``?was=`` holds the shares, ``&revision=`` when they stood."""
    bench = bench_of(pk, None)
    shares = _read(request.GET.get("was", ""), len(bench.room.asked.coffees))
    revision = request.GET.get("revision", "")
    if shares is None or not (revision.isdecimal() and len(revision) < 10):
        not_done(request, "That step back is not known any more.")
        return redirect("trials:plan", pk)
    own = dict(zip(bench.room.asked.coffees, shares, strict=True))
    there = next((t for t in bench.plan.trials.all() if t.number == number), None)
    common: dict[str, Any] = {"revision": int(revision), "by": request.user, "at": timezone.now()}
    try:
        problems = bench.problems(shares)
        if problems:
            raise InputError(problems[0].removesuffix("."))
        if there is None:
            actions.add_trial(plan=bench.plan, shares=own, number=number, **common)
        else:
            actions.change_trial(trial=there, shares=own, **common)
    except InputError as problem:
        not_done(request, f"{problem}.".capitalize())
    else:
        done(request, f"Sample {number} is as it was.")
    return redirect("trials:plan", pk)


def _way_back(plan: Plan, number: int, shares: Shares, revision: int) -> str:
    was = ".".join(map(str, shares))
    query = urlencode({"was": was, "revision": revision})
    return f"{reverse('trials:put-back', args=[plan.pk, number])}?{query}"


def _read(text: str, count: int) -> Shares | None:
    parts = text.split(".")
    if len(parts) != count or not all(p.isdecimal() and len(p) < 8 for p in parts):
        return None
    shares = tuple(map(int, parts))
    return shares if sum(shares) == PPM else None
