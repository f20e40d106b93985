"""A seat for somebody who may be new here."""

from __future__ import annotations

import datetime as dt

from django.db import transaction

from coupage.web.cuppings.actions.settings import add_taster
from coupage.web.cuppings.actions.setup import add_seat
from coupage.web.cuppings.models import Cupping, Seat, Taster
from coupage.web.people.models import Person

__all__ = ["seat_guest"]


@transaction.atomic
def seat_guest(
    *, cupping: Cupping, taster: Taster | None, guest: str, by: Person, at: dt.datetime
) -> Seat:
    """Give a known taster a seat, or a guest who becomes known by it."""
    if taster is None:
        taster = add_taster(taster=Taster(name=guest), by=by, at=at)
    return add_seat(cupping=cupping, taster=taster, by=by, at=at)
