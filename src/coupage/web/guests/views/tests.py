"""Guest tests from the plan to the verdict."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from coupage.errors import InputError
from coupage.sheets import Column, Layout
from coupage.web.common.exchange import send_table
from coupage.web.common.feedback import done, not_done, sentence
from coupage.web.common.requests import Request
from coupage.web.common.revisions import StaleError, revision_of, stale
from coupage.web.guests import queries
from coupage.web.guests.actions import planning, running
from coupage.web.guests.forms import MoreTraysForm, ReasonForm, TestForm, begun_with
from coupage.web.guests.models import GuestTest
from coupage.web.guests.pages.listing import tests_page
from coupage.web.guests.pages.power import asked_of, needed_tasters, power_page
from coupage.web.guests.pages.test import answer_rows, test_page
from coupage.web.guests.places import KIND
from coupage.web.live import joining
from coupage.web.people.access import may, needs
from coupage.web.people.archive import archive_or_back

__all__ = [
    "add",
    "answers",
    "change",
    "close",
    "index",
    "more",
    "open_test",
    "put_away",
    "reopen",
    "size",
    "test",
    "test_of",
]


def test_of(pk: int) -> GuestTest:
    """Return a test, or 404."""
    found = queries.guest_tests().filter(pk=pk).first()
    if found is None:
        raise Http404("There is no such test.")
    return found


@needs("see")
@require_safe
def index(request: Request) -> HttpResponse:
    """List the tests."""
    return render(request, "guests/index.html", {"page": tests_page(request)})


@needs("see")
@require_safe
def test(request: Request, pk: int) -> HttpResponse:
    """Show one test as it is now."""
    there = test_of(pk)
    page: dict[str, Any] = {"page": test_page(there), "more_form": MoreTraysForm()}
    if there.state == GuestTest.State.OPEN and not there.archived and may(request.user, "work"):
        code = joining.make_code(kind=KIND, key=pk, by=request.user, at=timezone.now())
        page["invitation"] = joining.invitation(request, code)
    return render(request, "guests/test.html", page)


@needs("work")
@require_http_methods(["GET", "POST"])
def add(request: Request) -> HttpResponse:
    """Plan a test; ``?a=batch:3&b=recipe:7`` or ``?a=sample:5`` begins with these coffees."""
    initial: dict[str, str] = {}
    for letter in "ab":
        if letter in request.GET:
            source, label = begun_with(request.GET[letter][:40])
            initial |= {f"{letter}_source": source, f"{letter}_label": label}
    form = TestForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid() and _sized(form):
        try:
            made = planning.add_test(
                test=form.save(commit=False),
                sides=form.sides(),
                by=request.user,
                at=timezone.now(),
            )
        except InputError as problem:
            form.add_error(None, sentence(problem))
        else:
            done(request, f"{made} is planned, and its trays are dealt.")
            return redirect("guests:test", made.pk)
    return render(request, "guests/add.html", {"form": form, "power": _power(form)})


@needs("work")
@require_http_methods(["GET", "POST"])
def change(request: Request, pk: int) -> HttpResponse:
    """Ask a planned test differently; its trays are dealt anew."""
    there = test_of(pk)
    form = TestForm(request.POST or None, instance=there)
    page: dict[str, Any] = {"form": form, "pk": pk, "name": there.name, "revision": there.revision}
    if request.method == "POST" and form.is_valid() and _sized(form):
        try:
            planning.change_test(
                test=form.save(commit=False),
                sides=form.sides(),
                revision=revision_of(request),
                by=request.user,
                at=timezone.now(),
            )
        except StaleError as problem:
            saved = test_of(pk)
            page |= stale(form, TestForm(instance=saved), problem, saved)
        except InputError as problem:
            form.add_error(None, sentence(problem))
        else:
            done(request, f"{there} is changed; print its sheets again.")
            return redirect("guests:test", pk)
    return render(request, "guests/change.html", page | {"power": _power(form)})


@needs("work")
@require_safe
def size(request: Request) -> HttpResponse:
    """Say what the numbers of a plan lead to, while it is being typed."""
    form = TestForm(request.GET)
    form.is_valid()
    return render(request, "guests/power.html", {"power": power_page(asked_of(form.cleaned_data))})


def _power(form: TestForm) -> Any:
    """Work out the panel beside a form, sent or not."""
    if form.is_bound:
        return power_page(asked_of(form.cleaned_data))
    values = {name: form[name].initial for name in form.fields}
    return power_page(asked_of(values))


def _sized(form: TestForm) -> bool:
    """Put in as many tasters as the test needs where none were named."""
    asked = asked_of(form.cleaned_data)
    if asked is None or asked.tasters is not None:
        return True
    try:
        form.instance.tasters = needed_tasters(asked)
    except InputError as problem:
        form.add_error("tasters", sentence(problem))
        return False
    return True


@needs("work")
@require_POST
def open_test(request: Request, pk: int) -> HttpResponse:
    """Open a test for answers."""
    try:
        running.open_test(test=test_of(pk), by=request.user, at=timezone.now())
    except InputError as problem:
        not_done(request, sentence(problem))
    else:
        done(request, "The test is open: enter answers here, or let guests join.")
    return redirect("guests:test", pk)


@needs("work")
@require_POST
def close(request: Request, pk: int) -> HttpResponse:
    """Close a test and judge it."""
    try:
        running.close_test(test=test_of(pk), by=request.user, at=timezone.now())
    except InputError as problem:
        not_done(request, sentence(problem))
    else:
        done(request, "The test is closed.")
    return redirect("guests:test", pk)


@needs("work")
@require_http_methods(["GET", "POST"])
def reopen(request: Request, pk: int) -> HttpResponse:
    """Open a closed test again, saying why."""
    there, form = test_of(pk), ReasonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        reason = form.cleaned_data["reason"]
        try:
            running.reopen_test(test=there, reason=reason, by=request.user, at=timezone.now())
        except InputError as problem:
            form.add_error(None, sentence(problem))
        else:
            done(request, f"{there} is open again.")
            return redirect("guests:test", pk)
    return render(request, "guests/reopen.html", {"form": form, "test": there})


@needs("work")
@require_POST
def put_away(request: Request, pk: int) -> HttpResponse:
    """Put a test away, or take it out again."""
    return archive_or_back(request, test_of(pk), to="guests:index")


@needs("work")
@require_POST
def more(request: Request, pk: int) -> HttpResponse:
    """Deal further trays."""
    there, form = test_of(pk), MoreTraysForm(request.POST)
    if not form.is_valid():
        not_done(request, f"Further trays: {form.errors['trays'][0]}")
        return redirect("guests:test", pk)
    count = int(form.cleaned_data["trays"])
    try:
        planning.deal_more(test=there, trays=count, by=request.user, at=timezone.now())
    except InputError as problem:
        not_done(request, sentence(problem))
    else:
        done(request, f"{count} more dealt. Print their sheets before they are poured.")
    return redirect("guests:test", pk)


ANSWERS = Layout(
    "guest answers",
    (
        Column("tray", "integer"),
        Column("set", "integer"),
        Column("guest", "text", required=False),
        Column("answered at", "datetime"),
        Column("codes", "text"),
        Column("in the cups", "text", help="What stood in each place, A or B."),
        Column("picked", "text"),
        Column("right", "yes-no"),
        Column("remark", "text", required=False),
        Column("taken back because", "text", required=False),
    ),
    key=("tray", "set", "answered at"),
)


@needs("see")
@require_safe
def answers(request: Request, pk: int) -> HttpResponse:
    """Send the answers of a closed test as a file."""
    there = test_of(pk)
    if there.state != GuestTest.State.CLOSED:
        raise Http404("The answers go out once the test is closed: until then it is blind.")
    kind = "xlsx" if request.GET.get("file") == "xlsx" else "csv"
    return send_table(ANSWERS, answer_rows(there), kind, str(pk))
