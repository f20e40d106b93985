"""The host's screen and its deeds: the code, the clock, a nudge, what came after the close."""

from __future__ import annotations

from collections.abc import Callable

from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from coupage.errors import InputError
from coupage.web.common.feedback import done, not_done, sentence
from coupage.web.common.requests import Request
from coupage.web.cuppings import queries
from coupage.web.cuppings.access import seat_for, table_for
from coupage.web.cuppings.models import Cupping
from coupage.web.live import joining
from coupage.web.live.actions import clock as clock_actions
from coupage.web.live.actions.nudging import nudge_seat, nudge_table
from coupage.web.live.actions.shots import write_shots
from coupage.web.live.actions.touches import admit_late, leave_out_late
from coupage.web.live.joining.invitation import address_for
from coupage.web.live.pages.host import host_page
from coupage.web.live.pages.sheet import clock_data, millis, state_of
from coupage.web.live.pages.shots import shot_forms, shot_rows
from coupage.web.live.seats import KIND
from coupage.web.people.access import needs
from coupage.web.people.models import Person

__all__ = [
    "clock",
    "code",
    "host",
    "late",
    "nudge",
    "nudge_all",
    "seat_code",
    "shots",
    "table_pulse",
]

_MORE_S = (30, 60, 300)


@needs("work")
@require_safe
def host(request: Request, pk: int) -> HttpResponse:
    """Show the host's screen of a table."""
    table = table_for(request.user, pk)
    page = {"page": host_page(request, table, timezone.now()), "more": _MORE_S}
    return render(request, "live/host.html", page)


@needs("see")
@require_safe
def table_pulse(request: Request, pk: int) -> HttpResponse:
    """Answer with the clock and the state of a table, for the host's screen and the wall."""
    table = table_for(request.user, pk)
    now = timezone.now()
    answer = {"now": millis(now), "state": state_of(table), "clock": clock_data(table, now)}
    return JsonResponse(answer)


@needs("work")
@require_POST
def code(request: Request, pk: int) -> HttpResponse:
    """Make the code by which strangers join this table, or end it (``?back``)."""
    table, now = table_for(request.user, pk), timezone.now()
    if "back" in request.GET:
        if joining.revoke_code(kind=KIND, key=table.pk, at=now):
            done(request, "The code is ended. Who came in by it stays.")
    elif table.void or table.state == Cupping.State.REVEALED:
        not_done(request, f"{table} is over; nobody can join it.")
    else:
        joining.make_code(kind=KIND, key=table.pk, by=request.user, at=now)
    return redirect("live:host", pk)


@needs("work")
@require_POST
def clock(request: Request, pk: int, deed: str) -> HttpResponse:
    """Turn the table's clock: run, pause, back, on, more."""
    table, now = table_for(request.user, pk), timezone.now()
    deeds: dict[str, Callable[[], object]] = {
        "run": lambda: clock_actions.run_clock(cupping=table, by=request.user, at=now),
        "pause": lambda: clock_actions.pause_clock(cupping=table, by=request.user, at=now),
        "back": lambda: clock_actions.go_back(cupping=table, by=request.user, at=now),
        "on": lambda: clock_actions.go_on(cupping=table, by=request.user, at=now),
        "more": lambda: _put_off(table, request.POST.get("seconds", ""), request.user),
    }
    if deed not in deeds:
        raise Http404("There is no such turn of the clock.")
    try:
        deeds[deed]()
    except InputError as problem:
        not_done(request, sentence(problem))
    return redirect("live:host", pk)


def _put_off(table: Cupping, seconds: str, by: Person) -> None:
    if not (seconds.isascii() and seconds.isdigit() and len(seconds) < 6):
        raise InputError("say by how many seconds the next step is put off")
    clock_actions.put_off(cupping=table, seconds=int(seconds), by=by, at=timezone.now())


@needs("work")
@require_POST
def nudge(request: Request, pk: int) -> HttpResponse:
    """Ask one taster for the cups that are missing."""
    seat = seat_for(request.user, pk)
    try:
        nudge_seat(seat=seat, at=timezone.now())
    except InputError as problem:
        not_done(request, sentence(problem))
    else:
        done(request, f"{seat.taster.name} is asked.")
    return redirect("live:host", seat.cupping_id)


@needs("work")
@require_POST
def nudge_all(request: Request, pk: int) -> HttpResponse:
    """Ask everybody whose sheet is not full."""
    table = table_for(request.user, pk)
    try:
        asked = nudge_table(cupping=table, at=timezone.now())
    except InputError as problem:
        not_done(request, sentence(problem))
    else:
        done(request, f"{asked} {'phone is' if asked == 1 else 'phones are'} asked.")
    return redirect("live:host", pk)


@needs("work")
@require_safe
def seat_code(request: Request, pk: int) -> HttpResponse:
    """Show the code of one seat, for its taster's phone, or a second one."""
    seat = get_object_or_404(queries.seats_of(seat_for(request.user, pk).cupping), pk=pk)
    ticket = joining.ticket_for(
        kind=KIND, key=seat.cupping_id, place=seat.pk, name=seat.taster.name, at=timezone.now()
    )
    address = address_for(request, reverse("live:seat", args=[joining.token(ticket)]))
    page = {
        "seat": seat,
        "address": address,
        "qr": joining.qr_of(address, title=f"Code to scan: the seat of {seat.taster.name}"),
    }
    return render(request, "live/seat_code.html", page)


@needs("work")
@require_POST
def late(request: Request, pk: int) -> HttpResponse:
    """Admit what a taster sent after the close, or leave it out for good (``?leave-out``)."""
    seat, now = seat_for(request.user, pk), timezone.now()
    out = "leave-out" in request.GET
    try:
        n = (leave_out_late if out else admit_late)(seat=seat, by=request.user, at=now)
    except InputError as problem:
        not_done(request, sentence(problem))
    else:
        what = f"{n} {'touch' if n == 1 else 'touches'} of {seat.taster.name}"
        done(request, f"{what} {'stay out' if out else 'count now'}.")
    return redirect("live:host", seat.cupping_id)


@needs("work")
@require_http_methods(["GET", "POST"])
def shots(request: Request, pk: int) -> HttpResponse:
    """Write down how the drinks of an espresso or milk round were made."""
    table = table_for(request.user, pk)
    forms = shot_forms(table, request.POST if request.method == "POST" else None)
    status = 200
    if request.method == "POST":
        # Every form is looked at, so that all that is wrong is said at once.
        wrong = [form for form in forms.values() if not form.is_valid()]
        if not wrong:
            made = {cup: form.shot() for cup, form in forms.items()}
            try:
                n = write_shots(cupping=table, shots=made, by=request.user, at=timezone.now())
            except InputError as problem:
                not_done(request, sentence(problem))
            else:
                done(request, f"{n} {'cup is' if n == 1 else 'cups are'} written down.")
            return redirect("live:shots", pk)
        status = 422
    page = {"table": table, "rows": shot_rows(table, forms), "forms": list(forms.values())}
    return render(request, "live/shots.html", page, status=status)
