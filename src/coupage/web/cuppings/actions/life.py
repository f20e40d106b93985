"""Writes that move a table on: opened, revealed, reopened."""

from __future__ import annotations

import datetime as dt

from django.db import transaction

from coupage.errors import InputError
from coupage.web.cuppings.actions.orders import deal_orders
from coupage.web.cuppings.actions.setup import locked
from coupage.web.cuppings.models import Cupping
from coupage.web.people import history
from coupage.web.people.models import Person

__all__ = ["open_cupping", "reopen_cupping", "reveal_cupping", "what_is_missing"]


def what_is_missing(cupping: Cupping) -> list[str]:
    """Say what keeps a table from being opened, one sentence each."""
    missing = []
    if not cupping.cups.exists():
        missing.append("Nothing stands on the table: add a batch, a trial blend or a sample.")
    if not cupping.seats.exists():
        missing.append("Nobody sits at the table: add a taster.")
    if not cupping.asked.exists():
        missing.append("Nothing is asked: choose at least one attribute.")
    if not cupping.rounds.exists():
        missing.append("There is no pass: name at least one round of tasting.")
    return missing


@transaction.atomic
def open_cupping(*, cupping: Cupping, by: Person, at: dt.datetime) -> Cupping:
    """Open a table: serving orders are dealt where they are not complete, and rating begins.

    Raises
    ------
    InputError
        When something is missing, or the table is not being set up.
    """
    cupping = locked(cupping.pk, Cupping.State.PLANNED)
    missing = what_is_missing(cupping)
    if missing:
        raise InputError(" ".join(missing).removesuffix("."))
    deal_orders(cupping)
    cupping.state = Cupping.State.OPEN
    cupping.save(update_fields=["state"])
    history.record(cupping, verb="opened", by=by, at=at)
    return cupping


@transaction.atomic
def reveal_cupping(*, cupping: Cupping, by: Person, at: dt.datetime) -> Cupping:
    """Close a table and reveal what was in the cups.

    Raises
    ------
    InputError
        When it is not under way, as when somebody else revealed it a moment ago.
    """
    cupping = Cupping.objects.select_for_update().get(pk=cupping.pk)
    if cupping.state == Cupping.State.REVEALED:
        raise InputError(f"{cupping} is revealed already")
    cupping = locked(cupping.pk, Cupping.State.OPEN)
    cupping.state, cupping.revealed_at = Cupping.State.REVEALED, at
    cupping.save(update_fields=["state", "revealed_at"])
    history.record(cupping, verb="closed and revealed", by=by, at=at)
    return cupping


@transaction.atomic
def reopen_cupping(*, cupping: Cupping, reason: str, by: Person, at: dt.datetime) -> Cupping:
    """Open a revealed table again; it leaves the beliefs until it is revealed once more.

    Raises
    ------
    InputError
        When it is not revealed or no reason is given.
    """
    cupping = locked(cupping.pk)
    if cupping.state != Cupping.State.REVEALED:
        raise InputError(f"{cupping} is {cupping.get_state_display()}; there is nothing to reopen")
    if not reason.strip():
        raise InputError("say why the table is opened again; it stays in the history")
    # A table that came from a file has no orders yet.
    deal_orders(cupping)
    cupping.state, cupping.revealed_at = Cupping.State.OPEN, None
    cupping.save(update_fields=["state", "revealed_at"])
    history.record(cupping, verb="reopened", by=by, at=at, note=reason.strip())
    return cupping
