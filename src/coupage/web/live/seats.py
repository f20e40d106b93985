"""What the code of a cupping opens: a seat at the table, with an order of its own."""

from __future__ import annotations

import datetime as dt

from django.urls import reverse

from coupage.errors import InputError
from coupage.web.cuppings.actions.settings import add_taster
from coupage.web.cuppings.actions.setup import add_seat, locked
from coupage.web.cuppings.models import Cupping, Seat, Taster
from coupage.web.live.models import Ticket

__all__ = ["KIND", "MOST_SEATS", "CuppingSeats"]

KIND = "cupping"
MOST_SEATS = 60


class CuppingSeats:
    """Seats at a cupping, given to whoever has its code."""

    def title(self, key: int) -> str:
        return str(Cupping.objects.get(pk=key))

    def refusal(self, key: int) -> str:
        table = Cupping.objects.get(pk=key)
        if table.void:
            return "This table was called off."
        if table.state == Cupping.State.REVEALED:
            return "This table is closed and revealed. Thank you for coming."
        if table.seats.count() >= MOST_SEATS:
            return f"All {MOST_SEATS} seats are taken. Ask the host."
        return ""

    def seat(self, key: int, *, name: str, at: dt.datetime) -> int:
        """Give a stranger a seat: the one that waits for somebody of that name, or a new one."""
        table = locked(key, Cupping.State.PLANNED, Cupping.State.OPEN)
        taster = Taster.objects.filter(name__iexact=name).select_related("person").first()
        laid = table.seats.filter(taster=taster).first() if taster else None
        if laid is not None:
            self._expect_free(laid, name)
            return laid.pk
        if taster is None:
            taster = add_taster(taster=Taster(name=name), by=None, at=at)
        elif taster.person_id:
            raise InputError(
                f"{taster} has an account here; if that is you, ask the host to give you a seat "
                "first, else add a letter to your name"
            )
        return add_seat(cupping=table, taster=taster, by=None, at=at).pk

    def _expect_free(self, seat: Seat, name: str) -> None:
        """Keep a seat from a second person of the same name."""
        taken = Ticket.objects.filter(
            kind=KIND, place=seat.pk, revoked_at=None, seen_at__isnull=False
        ).exists()
        if taken or seat.ratings.exists() or seat.words.exists():
            raise InputError(
                f"{name} sits at this table already; if that is you, ask the host for the code of "
                "your own seat, else add a letter to your name"
            )

    def home(self, token: str) -> str:
        return reverse("live:seat", args=[token])
