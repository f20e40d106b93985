"""A guest's own tray, behind a signed link."""

from __future__ import annotations

import secrets

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from coupage.errors import InputError
from coupage.web.common.feedback import sentence
from coupage.web.guests import queries
from coupage.web.guests.actions import running
from coupage.web.guests.forms import AnswerForm
from coupage.web.guests.models import GuestTest, Tray
from coupage.web.guests.pages.tray import last_answer, tray_page
from coupage.web.guests.places import KIND
from coupage.web.live import joining
from coupage.web.live.models import Ticket

__all__ = ["change", "tray"]


def tray_of(ticket: Ticket) -> Tray:
    """Return the tray of a ticket, or 404 when it was dealt away."""
    found = Tray.objects.select_related("test").filter(pk=ticket.place).first()
    if found is None:
        raise Http404("Your tray was taken away. Ask the host.")
    return found


@joining.holds(KIND)
@require_http_methods(["GET", "POST"])
def tray(request: HttpRequest, ticket: Ticket) -> HttpResponse:
    """Show a guest the cups of the own tray, by codes only, and keep the answer."""
    own = tray_of(ticket)
    page = tray_page(own)
    if request.method == "POST":
        return _answered(request, ticket, own)
    form = None
    if page.cups is not None:
        form = AnswerForm(
            codes=list(page.codes),
            cups=_cups(own.test),
            initial={"key": secrets.token_urlsafe(16)},
        )
    return render(request, "guests/tray.html", _shown(page, form, ticket))


def _answered(request: HttpRequest, ticket: Ticket, own: Tray) -> HttpResponse:
    """Keep the answer to the set that it was given to, whichever waits by now."""
    turn = request.POST.get("turn", "")
    sets = queries.sets_of(own.test).filter(tray=own)
    cups = next((each for each in sets if str(each.turn) == turn), None)
    if cups is None:
        raise Http404("There is no such set of cups.")
    form = AnswerForm(request.POST, codes=cups.places(), cups=_cups(own.test))
    if form.is_valid():
        values = form.cleaned_data
        try:
            running.give_answer(
                cups=cups,
                picked=values["picked"],
                remark=values["remark"],
                key=f"{own.pk}-{values['key']}"[:64],
                by=None,
                at=timezone.now(),
            )
        except InputError as problem:
            form.add_error(None, sentence(problem))
        else:
            return redirect("guests:tray", joining.token(ticket))
    return render(request, "guests/tray.html", _shown(tray_page(own), form, ticket), status=422)


@joining.holds(KIND)
@require_POST
def change(request: HttpRequest, ticket: Ticket) -> HttpResponse:  # noqa: ARG001  what POST needs
    """Let a guest who tapped the wrong cup answer once more, while the test is under way."""
    own = tray_of(ticket)
    answer = last_answer(own)
    if answer is not None and own.test.state == GuestTest.State.OPEN:
        running.take_answer_back(
            answer=answer, reason="changed by the guest", by=None, at=timezone.now()
        )
    return redirect("guests:tray", joining.token(ticket))


def _cups(test: GuestTest) -> int:
    return 2 if test.kind == GuestTest.Kind.TETRAD else 1


def _shown(page: object, form: AnswerForm | None, ticket: Ticket) -> dict[str, object]:
    return {"page": page, "form": form, "token": joining.token(ticket)}
