"""Planning a trial, asking it anew, weighing it, and sending it to a table."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.text import slugify
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from coupage.errors import InfeasibleError, InputError
from coupage.web.blends.models import Brief, Recipe
from coupage.web.blends.queries import newest_usable_batches
from coupage.web.coffees.models import Approach
from coupage.web.common.dates import day_text
from coupage.web.common.exchange import send_table
from coupage.web.common.feedback import done, not_done
from coupage.web.common.requests import Request
from coupage.web.common.revisions import StaleError, revision_of
from coupage.web.cuppings.beliefs import beliefs_now
from coupage.web.cuppings.models import Attribute, Cupping, Protocol
from coupage.web.people.access import may, needs
from coupage.web.trials import actions, forms, queries
from coupage.web.trials.blend_table import blend_rows, blends_layout
from coupage.web.trials.design import Found
from coupage.web.trials.models import Plan
from coupage.web.trials.pages.listing import plans_page
from coupage.web.trials.pages.plan import asked_of, plan_page, room_of, whole_plan
from coupage.web.trials.pages.weigh import sheet_of

__all__ = [
    "add",
    "change",
    "choose_again",
    "download",
    "download_all",
    "index",
    "plan",
    "put_away",
    "send",
    "weighing",
]


@needs("see")
@require_safe
def index(request: Request) -> HttpResponse:
    """List the plans."""
    return render(request, "trials/index.html", {"page": plans_page(request)})


@needs("see")
@require_safe
def plan(request: Request, pk: int) -> HttpResponse:
    """Show one plan: its blends, what they tell, and what was asked."""
    page = plan_page(pk, can_work=may(request.user, "work"))
    return render(request, "trials/plan.html", {"page": page})


@needs("see")
@require_safe
def download(request: Request, pk: int) -> HttpResponse:
    """Give one plan's blends out as CSV or XLSX."""
    return _table(request, pk, slugify(whole_plan(pk).name))


@needs("see")
@require_safe
def download_all(request: Request) -> HttpResponse:
    """Give the blends of all plans out as CSV or XLSX."""
    return _table(request, None, timezone.localdate().isoformat())


def _table(request: Request, pk: int | None, suffix: str) -> HttpResponse:
    rows = blend_rows(queries.planned_shares(pk))
    return send_table(blends_layout(), rows, request.GET.get("file", "csv"), suffix)


@needs("work")
@require_http_methods(["GET", "POST"])
def add(request: Request) -> HttpResponse:
    """Plan a trial; ``?brief=`` begins from a brief, ``&coffees=`` from these coffees."""
    offered = forms.PlanScreen.offered()
    initial, ticked = _start(request)
    screen = forms.PlanScreen(
        request.POST or None,
        batches=newest_usable_batches(offered),
        offered=offered,
        initial=initial,
        ticked=ticked,
    )
    page: dict[str, Any] = {"screen": screen}
    if request.method == "POST" and screen.is_valid():
        found = _choose(screen, page)
        if found is not None:
            made = actions.add_plan(
                asked=screen.asked(), found=found, by=request.user, at=timezone.now()
            )
            _said(request, found, f"{made.name} is planned.")
            return redirect("trials:plan", made.pk)
    return render(request, "trials/add.html", page)


@needs("work")
@require_http_methods(["GET", "POST"])
def change(request: Request, pk: int) -> HttpResponse:
    """Ask a plan differently; its blends are chosen anew."""
    there = whole_plan(pk)
    name, revision = there.name, there.revision
    offered = forms.PlanScreen.offered(there)
    screen = forms.PlanScreen(
        request.POST or None, plan=there, batches=newest_usable_batches(offered), offered=offered
    )
    page: dict[str, Any] = {"screen": screen, "pk": pk, "name": name, "revision": revision}
    if request.method == "POST" and screen.is_valid():
        found = _choose(screen, page)
        if found is not None:
            try:
                actions.change_plan(
                    asked=screen.asked(),
                    found=found,
                    revision=revision_of(request),
                    by=request.user,
                    at=timezone.now(),
                )
            except StaleError as problem:
                saved = plan_page(pk, can_work=True)
                page |= {
                    "stale": f"{problem}.",
                    "saved": saved,
                    "revision": saved.plan.revision,
                }
            except InputError as problem:
                screen.form.add_error(None, f"{problem}.".capitalize())
            else:
                _said(request, found, f"{there.name} is asked anew.")
                return redirect("trials:plan", pk)
    return render(request, "trials/change.html", page)


def _choose(screen: forms.PlanScreen, page: dict[str, Any]) -> Found | None:
    """Search, or say on the page why there is nothing to find."""
    try:
        return room_of(screen.asked(), beliefs_now()).choose()
    except InfeasibleError as error:
        page["clashing"] = error.clashing
    except InputError as error:
        screen.form.add_error(None, _sentence(error))
    return None


def _sentence(error: InputError) -> str:
    said = str(error).removesuffix(".")
    return f"{said[:1].upper()}{said[1:]}."


def _said(request: Request, found: Found, text: str) -> None:
    if found.hurried:
        text += " So many coffees take long: the search was kept short, and may be bettered a bit."
    done(request, text)


def _start(request: Request) -> tuple[dict[str, Any], list[Approach]]:
    """Return what the screen begins with."""
    today = timezone.localdate()
    name, n = f"Trials of {day_text(today)}", 2
    while Plan.objects.filter(name=name).exists():
        name, n = f"Trials of {day_text(today)} ({n})", n + 1
    initial: dict[str, Any] = {"name": name}
    asked = request.GET.get("brief", "")
    brief = (
        Brief.objects.filter(pk=asked).first() if asked.isdecimal() and len(asked) < 10 else None
    )
    if brief is None:
        return initial, []
    recipes = Recipe.objects.filter(blend__brief=brief, state=Recipe.State.IN_SERVICE)
    recipe = recipes.prefetch_related("shares__approach__lot").first()
    initial |= {"brief": brief.pk, "purpose": Plan.Purpose.DECISION}
    keys = [key for key in request.GET.getlist("coffees") if key.isdecimal() and len(key) < 10]
    if named := list(Approach.objects.filter(pk__in=keys).select_related("lot")) if keys else []:
        return initial, named
    return initial, [] if recipe is None else [share.approach for share in recipe.shares.all()]


@needs("work")
@require_POST
def choose_again(request: Request, pk: int) -> HttpResponse:
    """Choose the blends of a plan anew, by what is believed now."""
    asked = asked_of(whole_plan(pk))
    try:
        found = room_of(asked, beliefs_now()).choose()
        actions.choose_again(
            asked=asked,
            found=found,
            revision=revision_of(request),
            by=request.user,
            at=timezone.now(),
        )
    except InputError as error:
        not_done(request, _sentence(error))
    else:
        _said(request, found, "The blends are chosen again.")
    return redirect("trials:plan", pk)


@needs("work")
@require_POST
def put_away(request: Request, pk: int) -> HttpResponse:
    """Put a plan away, or take it out again (``?back``)."""
    there = get_object_or_404(Plan, pk=pk)
    away = "back" not in request.GET
    try:
        actions.void_plan(plan=there, void=away, by=request.user, at=timezone.now())
    except InputError as error:
        not_done(request, _sentence(error))
    else:
        undo = reverse("trials:put-away", args=[pk]) + ("?back" if away else "")
        done(request, f"{there.name} is {'put away' if away else 'in use again'}.", undo=undo)
    return redirect("trials:plan", pk)


@needs("work")
@require_http_methods(["GET", "POST"])
def send(request: Request, pk: int) -> HttpResponse:
    """Set a table up with exactly these blends."""
    there = whole_plan(pk)
    used = {s.coffee_id for trial in there.trials.all() for s in trial.shares.all()}
    approaches = [coffee.approach for coffee in there.coffees.all() if coffee.pk in used]
    found = newest_usable_batches(approaches)
    form = forms.SendForm(
        request.POST or None,
        batches={approach: found[approach.pk] for approach in approaches},
        initial={
            "name": there.name,
            "held_at": timezone.localtime(),
            "attributes": Attribute.objects.filter(archived=False, standard=True),
            "protocol": Protocol.objects.filter(archived=False).first(),
        },
    )
    page: dict[str, Any] = {"plan": there, "form": form, "revision": there.revision}
    if request.method == "POST" and form.is_valid():
        values = form.cleaned_data
        protocol = values["protocol"]
        passes = [name.strip() for name in protocol.passes.split(",") if name.strip()]
        try:
            table = actions.send_plan(
                plan=there,
                cupping=Cupping(name=values["name"], held_at=values["held_at"], protocol=protocol),
                passes=passes,
                attributes=list(values["attributes"]),
                tasters=list(values["tasters"]),
                batches=form.chosen(),
                revision=revision_of(request),
                by=request.user,
                at=timezone.now(),
            )
        except InputError as error:
            form.add_error(None, _sentence(error))
            page["revision"] = Plan.objects.get(pk=pk).revision
        else:
            done(
                request,
                f"{table.name} is set up with these blends; nobody sees them before the reveal.",
            )
            return redirect("cuppings:cupping", table.pk)
    return render(request, "trials/send.html", page)


@needs("see")
@require_safe
def weighing(request: Request, pk: int) -> HttpResponse:
    """Show the weighing sheet of a plan, ready to print."""
    there = whole_plan(pk)
    asked = request.GET if "protocol" in request.GET else None
    form = forms.WeighForm(
        asked, initial={"protocol": Protocol.objects.filter(archived=False).first()}
    )
    sheet = None
    if form.is_bound and form.is_valid():
        values = form.cleaned_data
        try:
            sheet = sheet_of(there, values["protocol"], values["resolution"], values["purge"])
        except InputError as error:
            form.add_error("resolution", _sentence(error))
    template = "trials/weighing_sheet.html" if sheet else "trials/weighing.html"
    return render(request, template, {"plan": there, "form": form, "sheet": sheet})
