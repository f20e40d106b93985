"""The taster's own sheet, behind a signed link."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from coupage.web.cuppings.models import Seat
from coupage.web.live import joining
from coupage.web.live.models import Ticket
from coupage.web.live.seats import KIND

__all__ = ["seat"]


def seat_of(ticket: Ticket) -> Seat:
    """Return the seat of a ticket, or 404 when the host took it away."""
    found = Seat.objects.select_related("cupping__protocol", "taster").filter(pk=ticket.place)
    seat = found.first()
    if seat is None:
        raise Http404("Your seat was taken away. Ask the host.")
    return seat


@joining.holds(KIND)
@require_safe
def seat(request: HttpRequest, ticket: Ticket) -> HttpResponse:
    """Show one taster's own place at the table, by codes only."""
    return render(request, "live/seat.html", {"seat": seat_of(ticket)})
