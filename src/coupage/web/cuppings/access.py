"""Who may reach which table and which seat; everything else is not there for them."""

from __future__ import annotations

from django.http import Http404

from coupage.web.cuppings import queries
from coupage.web.cuppings.models import Cupping, Seat
from coupage.web.people.access import may
from coupage.web.people.models import Person

__all__ = ["own_seat", "seat_for", "table_for"]


def table_for(person: Person, pk: int) -> Cupping:
    """Return a table that this person may know of, or 404."""
    table = queries.cuppings_for(person).filter(pk=pk).first()
    if table is None:
        raise Http404("There is no such table, or you have no seat at it.")
    return table


def seat_for(person: Person, pk: int) -> Seat:
    """Return a seat that this person may fill, or 404: any for those who work, else the own one."""
    seats = Seat.objects.select_related("cupping__protocol", "cupping__host", "taster__person")
    if not may(person, "work"):
        seats = seats.filter(taster__person=person, cupping__in=queries.cuppings_for(person))
    seat = seats.filter(pk=pk).first()
    if seat is None:
        raise Http404("There is no such seat, or it is not yours.")
    return seat


def own_seat(person: Person, table: Cupping) -> Seat | None:
    """Return the seat that this person has at a table."""
    return table.seats.select_related("taster").filter(taster__person=person).first()
