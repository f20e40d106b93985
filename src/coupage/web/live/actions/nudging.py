"""Writes by which the host asks for what is missing."""

from __future__ import annotations

import datetime as dt

from django.db import transaction

from coupage.errors import InputError
from coupage.web.cuppings.models import Cupping, Seat
from coupage.web.live.models import Ticket
from coupage.web.live.seats import KIND

__all__ = ["nudge_seat", "nudge_table"]


@transaction.atomic
def nudge_seat(*, seat: Seat, at: dt.datetime) -> None:
    """Ask one taster, on their phone, for the cups that are missing.

    Raises
    ------
    InputError
        When the table is not open, or no phone is at this seat.
    """
    _expect_open(seat.cupping)
    asked = Ticket.objects.filter(kind=KIND, place=seat.pk, revoked_at=None, seen_at__isnull=False)
    if not asked.update(nudged_at=at):
        raise InputError(f"no phone is at the seat of {seat.taster} yet")


@transaction.atomic
def nudge_table(*, cupping: Cupping, at: dt.datetime) -> int:
    """Ask everybody whose sheet is not full; returns how many phones are asked."""
    _expect_open(cupping)
    asked = Ticket.objects.filter(
        kind=KIND, key=cupping.pk, revoked_at=None, seen_at__isnull=False
    ).update(nudged_at=at)
    if not asked:
        raise InputError("no phone is at this table yet")
    return asked


def _expect_open(cupping: Cupping) -> None:
    if cupping.void or cupping.state != Cupping.State.OPEN:
        raise InputError(f"{cupping} is not open, so nobody can enter anything")
