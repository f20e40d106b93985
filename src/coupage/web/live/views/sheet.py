"""The taster's own sheet, behind a signed link: the page, its data, its pulse, what it sends."""

from __future__ import annotations

import datetime as dt
import json
import re
from decimal import Decimal, InvalidOperation
from functools import cache
from pathlib import Path
from typing import Any

from django.db.models import Q
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_POST, require_safe

from coupage.errors import InputError
from coupage.web.common.feedback import sentence
from coupage.web.common.requests import Request
from coupage.web.cuppings.access import seat_for
from coupage.web.cuppings.models import Cupping, Seat
from coupage.web.cuppings.pages.own import own_page
from coupage.web.live import joining
from coupage.web.live.actions.touches import MOST_AT_ONCE, Sent, keep_touches
from coupage.web.live.models import Ticket
from coupage.web.live.pages.sheet import pulse_data, sheet_data
from coupage.web.live.seats import KIND
from coupage.web.people.access import needs, strangers

__all__ = ["pulse", "seat", "sheet", "taste", "touches", "worker"]

_KEY = re.compile(r"[0-9a-f]{8,32}")
_SEEN_EVERY = dt.timedelta(seconds=8)
_EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)


@needs("taste")
@require_safe
def taste(request: Request, pk: int) -> HttpResponse:
    """Lead somebody who is signed in to the sheet of a seat: the own one, or one they help with."""
    seat = seat_for(request.user, pk)
    ticket = joining.ticket_for(
        kind=KIND,
        key=seat.cupping_id,
        place=seat.pk,
        name=seat.taster.name,
        at=timezone.now(),
    )
    return redirect("live:seat", joining.token(ticket))


def seat_of(ticket: Ticket) -> Seat:
    """Return the seat of a ticket, or 404 when the host took it away."""
    found = Seat.objects.select_related("cupping__protocol", "taster__person")
    seat = found.filter(pk=ticket.place).first()
    if seat is None:
        raise Http404("Your seat was taken away. Ask the host.")
    return seat


@joining.holds(KIND)
@require_safe
def seat(request: HttpRequest, ticket: Ticket) -> HttpResponse:
    """Show one taster's own sheet; after the reveal, what they tasted."""
    own = seat_of(ticket)
    table = own.cupping
    page: dict[str, Any] = {
        "seat": own,
        "data": sheet_data(own, joining.token(ticket), timezone.now()),
    }
    if table.state == Cupping.State.REVEALED and not table.void:
        page["own"] = own_page(table, own)
        return render(request, "live/tasted.html", page)
    return render(request, "live/seat.html", page)


@joining.holds(KIND)
@require_safe
def sheet(_request: HttpRequest, ticket: Ticket) -> HttpResponse:
    """Answer with the data of the sheet as it is now."""
    return JsonResponse(sheet_data(seat_of(ticket), joining.token(ticket), timezone.now()))


@joining.holds(KIND)
@require_safe
def pulse(request: HttpRequest, ticket: Ticket) -> HttpResponse:
    """Answer with the clock and what else changes; note that the phone is there."""
    own, now = seat_of(ticket), timezone.now()
    _note(ticket, request.GET.get("waiting", ""), now)
    device = request.GET.get("device", "")[:32]
    return JsonResponse(pulse_data(own, ticket, device, now))


def _note(ticket: Ticket, waiting: str, now: dt.datetime) -> None:
    """Note that a phone is there, and how much it has still to send; not more often than needed."""
    count = min(int(waiting), 100_000) if waiting.isascii() and waiting.isdigit() else 0
    stale = Q(seen_at=None) | Q(seen_at__lt=now - _SEEN_EVERY) | ~Q(waiting=count)
    if ticket.seen_at is None or ticket.seen_at < now - _SEEN_EVERY or ticket.waiting != count:
        Ticket.objects.filter(stale, pk=ticket.pk).update(seen_at=now, waiting=count)


# No cookie speaks for a ticket: who can write this address has the right to send.
@csrf_exempt
@joining.holds(KIND)
@require_POST
def touches(request: HttpRequest, ticket: Ticket) -> HttpResponse:
    """Keep what a phone sends, and say what became of each touch."""
    own, now = seat_of(ticket), timezone.now()
    try:
        device, waiting, sent = _read(request.body)
        fates = keep_touches(seat=own, device=device, sent=sent, at=now)
    except InputError as problem:
        return JsonResponse({"problem": sentence(problem)}, status=422)
    _note(ticket, str(waiting), now)
    return JsonResponse({"fates": fates, "now": round(now.timestamp() * 1000)})


def _read(body: bytes) -> tuple[str, int, list[Sent]]:
    """Read what a phone sent; every field is checked here."""
    try:
        data = json.loads(body)
        device, rows = data["device"], data["touches"]
        waiting = int(data.get("waiting", 0))
        if not (isinstance(device, str) and _KEY.fullmatch(device) and isinstance(rows, list)):
            raise TypeError
        if len(rows) > MOST_AT_ONCE:
            raise InputError(f"{len(rows)} touches came at once; send at most {MOST_AT_ONCE}")
        return device, waiting, [_one(row) for row in rows]
    except InputError:
        raise
    except (ValueError, TypeError, KeyError, AttributeError, OverflowError, RecursionError) as odd:
        raise InputError("this is not what a sheet sends; reload the page") from odd


def _one(row: dict[str, Any]) -> Sent:
    key, what = row["key"], row["what"]
    if not (isinstance(key, str) and _KEY.fullmatch(key)):
        raise TypeError
    if what not in {"rating", "word", "fault", "done"}:
        raise ValueError
    return Sent(
        key=key,
        what=what,
        made_at=_EPOCH + dt.timedelta(milliseconds=int(row["at"])),
        cup=str(row.get("cup", "")),
        round=int(row.get("pass", 0)),
        attribute=int(row.get("attribute", 0)),
        value=_value(row.get("value")),
        word=str(row.get("word", "")).replace("\x00", ""),
        on=bool(row.get("on", True)),
    )


def _value(sent: Any) -> Decimal | None:
    if sent is None:
        return None
    try:
        value = Decimal(str(sent))
    except InvalidOperation as odd:
        raise ValueError from odd
    if not value.is_finite():
        raise ValueError
    return value


@cache
def _worker_text() -> str:
    place = Path(__file__).parents[1] / "static" / "live" / "worker.js"
    return place.read_text(encoding="utf-8")


@strangers
@require_safe
def worker(_request: HttpRequest) -> HttpResponse:
    """Serve the script by which a browser opens the sheet without the network.

    It lies beside the sheets because a browser lets it serve no address above its own.
    """
    answer = HttpResponse(_worker_text(), content_type="text/javascript; charset=utf-8")
    answer.headers["Cache-Control"] = "no-cache"
    return answer
