"""Joining: type a code, give a name, and be at the own place."""

from __future__ import annotations

import secrets

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from coupage.errors import InputError
from coupage.web.common.feedback import sentence
from coupage.web.common.outside import address_of
from coupage.web.live.forms import CodeForm, NameForm
from coupage.web.live.joining import (
    TooManyGuessesError,
    code_of,
    come_in,
    opens,
    ticket_of,
    token,
)
from coupage.web.live.models import JoinCode, Ticket
from coupage.web.people.access import strangers

__all__ = ["enter", "join"]

_TWO_DAYS = 2 * 24 * 3600


@strangers
@never_cache
@require_http_methods(["GET", "POST"])
def enter(request: HttpRequest) -> HttpResponse:
    """Ask for the code of a table."""
    form = CodeForm(request.POST or None)
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            code, problem, status = _look_up(request, form.cleaned_data["code"])
            if code is not None:
                return redirect("live:join", code.letters)
            form.add_error("code", problem)
    return render(request, "live/enter.html", {"form": form}, status=status)


@strangers
@never_cache
@require_http_methods(["GET", "POST"])
def join(request: HttpRequest, letters: str) -> HttpResponse:
    """Ask for a name, and give a place for it; whoever was here before finds the own one again."""
    code, problem, status = _look_up(request, letters)
    if code is None:
        form = CodeForm({"code": letters[:20]})
        form.is_valid()
        form.add_error("code", problem)
        # A code that opens nothing is an address that is not there.
        status = 404 if status == 422 else status
        return render(request, "live/enter.html", {"form": form}, status=status)
    name_form = NameForm(request.POST or None, initial={"once": secrets.token_hex(16)})
    status = 200
    if request.method == "POST":
        status = 422
        if name_form.is_valid():
            try:
                ticket = come_in(code=code, **name_form.cleaned_data, at=timezone.now())
            except InputError as refused:
                name_form.add_error("name", sentence(refused))
            else:
                return _at_the_place(ticket, code)
    what = opens(code.kind)
    page = {
        "code": code,
        "title": what.title(code.key),
        "refusal": what.refusal(code.key),
        "form": name_form,
        "before": _before(request, code),
    }
    return render(request, "live/join.html", page, status=status)


def _look_up(request: HttpRequest, typed: str) -> tuple[JoinCode | None, str, int]:
    """Return the code, or why not and the status that says so."""
    try:
        code = code_of(typed, address=address_of(request), at=timezone.now())
    except TooManyGuessesError as slow:
        return None, sentence(slow), 429
    if code is None:
        return None, "No table has this code now. Look at the host's screen and type it anew.", 422
    return code, "", 200


def _cookie(code: JoinCode) -> str:
    return f"coupage-place-{code.pk}"


def _before(request: HttpRequest, code: JoinCode) -> dict[str, str] | None:
    """Return the place that this device came to by this code before, where it still is."""
    ticket = ticket_of(request.COOKIES.get(_cookie(code), ""))
    if ticket is None or ticket.code_id != code.pk:
        return None
    return {"name": ticket.name, "home": opens(ticket.kind).home(token(ticket))}


def _at_the_place(ticket: Ticket, code: JoinCode) -> HttpResponse:
    answer = redirect(opens(ticket.kind).home(token(ticket)))
    answer.set_cookie(
        _cookie(code),
        token(ticket),
        max_age=_TWO_DAYS,
        path="/join/",
        secure=settings.TLS,
        httponly=True,
        samesite="Lax",
    )
    return answer
