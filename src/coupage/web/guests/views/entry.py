"""Answers entered by the host, by mouse or keyboard, and taken back."""

from __future__ import annotations

import secrets

from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from coupage.errors import InputError
from coupage.web.common.feedback import done, not_done, sentence
from coupage.web.common.requests import Request
from coupage.web.guests import queries
from coupage.web.guests.actions import running
from coupage.web.guests.forms import AnswerForm, ReasonForm
from coupage.web.guests.models import Answer, GuestTest
from coupage.web.guests.pages.entry import cups_at, entry_page
from coupage.web.guests.views.tests import test_of
from coupage.web.people.access import needs

__all__ = ["enter", "next_one", "put_back", "take_back"]


@needs("work")
@require_safe
def next_one(_: Request, pk: int) -> HttpResponse:
    """Lead to the set that waits next for an answer."""
    test = test_of(pk)
    waiting = queries.next_set(test) or queries.sets_of(test).first()
    if waiting is None:
        raise Http404("This test has no trays.")
    return redirect("guests:enter", pk, waiting.tray.number, waiting.turn)


@needs("work")
@require_http_methods(["GET", "POST"])
def enter(request: Request, pk: int, tray: int, turn: int) -> HttpResponse:
    """Show one set by its codes, and keep the answer that is entered."""
    test = test_of(pk)
    cups = cups_at(test, tray, turn)
    form = AnswerForm(
        request.POST or None,
        codes=cups.places(),
        cups=2 if test.kind == GuestTest.Kind.TETRAD else 1,
        initial={"guest": cups.tray.guest, "key": secrets.token_urlsafe(16)},
    )
    if request.method == "POST" and form.is_valid():
        values = form.cleaned_data
        try:
            answer = running.enter_answer(
                cups=cups,
                guest=values["guest"],
                picked=values["picked"],
                remark=values["remark"],
                key=values["key"],
                by=request.user,
                at=timezone.now(),
            )
        except InputError as problem:
            form.add_error(None, sentence(problem))
        else:
            undo = reverse("guests:take-back", args=[answer.pk]) + "?at-once"
            done(request, f"Tray {tray} is entered.", undo=undo)
            following = queries.next_set(test, cups)
            if following is None:
                return redirect("guests:test", pk)
            return redirect("guests:enter", pk, following.tray.number, following.turn)
    page = {"page": entry_page(test, cups), "form": form}
    return render(request, "guests/enter.html", page)


@needs("work")
@require_http_methods(["GET", "POST"])
def take_back(request: Request, pk: int) -> HttpResponse:
    """Take an answer back, saying why; at once after entering, no reason is asked."""
    answer = _answer(pk)
    cups, test = answer.cups, answer.cups.tray.test
    at_once = "at-once" in request.GET
    sent = {"reason": "entered by mistake"} if at_once else request.POST
    form = ReasonForm(sent if request.method == "POST" else None)
    if form.is_valid():
        try:
            running.take_answer_back(
                answer=answer,
                reason=form.cleaned_data["reason"],
                by=request.user,
                at=timezone.now(),
            )
        except InputError as problem:
            not_done(request, sentence(problem))
        else:
            back = reverse("guests:put-back", args=[pk])
            done(request, "The answer is taken back; its tray waits again.", undo=back)
        if test.state == GuestTest.State.OPEN:
            return redirect("guests:enter", test.pk, cups.tray.number, cups.turn)
        return redirect("guests:test", test.pk)
    page = {"form": form, "answer": answer, "test": test}
    return render(request, "guests/take_back.html", page)


@needs("work")
@require_POST
def put_back(request: Request, pk: int) -> HttpResponse:
    """Let an answer that was taken back count again."""
    answer = _answer(pk)
    try:
        running.put_answer_back(answer=answer, by=request.user, at=timezone.now())
    except InputError as problem:
        not_done(request, sentence(problem))
    else:
        done(request, "The answer counts again.")
    return redirect("guests:test", answer.cups.tray.test_id)


def _answer(pk: int) -> Answer:
    found = Answer.objects.select_related("cups__tray__test").filter(pk=pk).first()
    if found is None:
        raise Http404("There is no such answer.")
    return found
