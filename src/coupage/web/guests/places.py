"""What the code of a guest test opens: a tray of one's own."""

from __future__ import annotations

import datetime as dt

from django.urls import reverse

from coupage.errors import InputError
from coupage.web.guests.actions.running import take_tray
from coupage.web.guests.models import GuestTest
from coupage.web.live.models import Ticket

__all__ = ["KIND", "GuestPlaces"]

KIND = "guests"


class GuestPlaces:
    """Trays of a test, given to whoever has its code."""

    def title(self, key: int) -> str:
        return str(GuestTest.objects.get(pk=key))

    def refusal(self, key: int) -> str:
        test = GuestTest.objects.get(pk=key)
        if test.state == GuestTest.State.CLOSED or test.archived:
            return "This test is closed. Thank you for coming."
        if test.state == GuestTest.State.PLANNED:
            return "This test has not begun yet. Ask the host."
        return ""

    def seat(self, key: int, *, name: str, at: dt.datetime) -> int:
        """Give a guest the next free tray; one that was named for them counts as free."""
        tray = take_tray(test=GuestTest.objects.get(pk=key), guest=name, at=at)
        taken = Ticket.objects.filter(kind=KIND, place=tray.pk, revoked_at=None).exists()
        if taken or tray.sets.filter(answers__void=False).exists():
            raise InputError(
                f"{name} has a tray here already; if that is you, go on where you began, else add "
                "a letter to your name"
            )
        return tray.pk

    def home(self, token: str) -> str:
        return reverse("guests:tray", args=[token])
