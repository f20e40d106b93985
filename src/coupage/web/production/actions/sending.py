"""Writes at the door: bags sent, come back, a dispatch that did not happen."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

from django.db import transaction

from coupage.errors import InputError
from coupage.web.orders.actions import move_order
from coupage.web.orders.models import Customer, Order
from coupage.web.people import history
from coupage.web.people.models import Person
from coupage.web.production.actions.ledgers import locked_packed, locked_run, move_bags
from coupage.web.production.models import BagEntry, Dispatch, DispatchLine, Packed, Run

__all__ = ["receive_return", "send_bags", "void_dispatch"]


@transaction.atomic
def send_bags(
    *,
    customer: Customer,
    bags: Mapping[Packed, int],
    on: dt.date,
    by: Person,
    at: dt.datetime,
    order: Order | None = None,
    note: str = "",
) -> Dispatch:
    """Send bags to a customer; an order that is named counts as sent from then on.

    Raises
    ------
    InputError
        When nothing is to be sent, the order is another customer's or sent already, a lot is on
        hold, or not so many bags are on hand.
    """
    sent = {packed: count for packed, count in bags.items() if count}
    if not sent or min(sent.values()) < 0:
        raise InputError("give how many bags of at least one lot are sent")
    if order is not None:
        order = Order.objects.select_for_update().get(pk=order.pk)
        if order.customer_id != customer.pk:
            raise InputError(f"{order} is not an order of {customer}")
        if order.state in {Order.State.SENT, Order.State.CALLED_OFF}:
            raise InputError(f"{order} is {order.state} already")
    for pk in sorted({packed.run_id for packed in sent}):
        run = locked_run(Run(pk=pk))
        if run.held or run.state == Run.State.VOID:
            raise InputError(f"{run} is {'on hold' if run.held else 'void'}; send another lot")
    dispatch = Dispatch(customer=customer, order=order, on=on, note=note, made_at=at, made_by=by)
    dispatch.full_clean()
    dispatch.save()
    for packed in sorted(sent, key=lambda packed: packed.pk):
        held = locked_packed(packed)
        line = DispatchLine.objects.create(dispatch=dispatch, packed=held)
        kind = BagEntry.Kind.SENT
        move_bags(packed=held, kind=kind, bags=-sent[packed], on=on, by=by, at=at, line=line)
    after = {str(packed): count for packed, count in sent.items()}
    history.record(dispatch, verb="sent", by=by, at=at, after=after, note=note)
    if order is not None:
        move_order(order=order, state=Order.State.SENT, by=by, at=at)
    return dispatch


@transaction.atomic
def receive_return(
    *,
    line: DispatchLine,
    bags: int,
    reason: str,
    on: dt.date,
    by: Person,
    at: dt.datetime,
) -> BagEntry:
    """Take bags of a dispatch back; they stand on the shelf again until somebody says otherwise.

    Raises
    ------
    InputError
        When no reason is given, more come back than are out, or they come back before they left.
    """
    if bags <= 0:
        raise InputError("give how many bags came back, at least 1")
    if not reason:
        raise InputError("say why they came back")
    packed = locked_packed(line.packed)
    out = -sum(line.entries.values_list("bags", flat=True))
    if bags > out:
        raise InputError(f"only {out} bags of {packed} are still out; {bags} cannot come back")
    if on < line.dispatch.on:
        raise InputError("they cannot come back before the day on which they left")
    kind = BagEntry.Kind.RETURNED
    entry = move_bags(
        packed=packed, kind=kind, bags=bags, on=on, by=by, at=at, reason=reason, line=line
    )
    verb = f"took back {bags} × {packed} of"
    history.record(line.dispatch, verb=verb, by=by, at=at, note=reason)
    return entry


@transaction.atomic
def void_dispatch(*, dispatch: Dispatch, reason: str, by: Person, at: dt.datetime) -> Dispatch:
    """Undo a dispatch that did not happen: its bags are on the shelf again, its order is open.

    Raises
    ------
    InputError
        When it is void already or no reason is given.
    """
    dispatch = Dispatch.objects.select_for_update().get(pk=dispatch.pk)
    if dispatch.void:
        raise InputError(f"{dispatch} is void already")
    if not reason:
        raise InputError("say why; it stays in the history beside your name")
    for line in dispatch.lines.select_related("packed").order_by("packed_id"):
        packed = locked_packed(line.packed)
        out = -sum(line.entries.values_list("bags", flat=True))
        if out:
            move_bags(
                packed=packed,
                kind=BagEntry.Kind.RETURNED,
                bags=out,
                on=dispatch.on,
                by=by,
                at=at,
                reason=reason,
                line=line,
            )
    dispatch.void = True
    dispatch.save(update_fields=["void"])
    history.record(dispatch, verb="voided", by=by, at=at, note=reason)
    order = dispatch.order
    if order is not None and order.state == Order.State.SENT:
        move_order(order=order, state=Order.State.OPEN, by=by, at=at)
    return dispatch
