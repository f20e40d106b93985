"""The host's screen: the clock with its steps, what to prepare, who is here and how far."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import dataclass

from django.db.models import Count
from django.http import HttpRequest
from django.urls import reverse

from coupage.web.cuppings import queries
from coupage.web.cuppings.models import Cupping, Protocol, Seat
from coupage.web.cuppings.pages.said import joined
from coupage.web.cuppings.pages.table import MatrixRow, matrix_of
from coupage.web.live import joining
from coupage.web.live.models import FaultMark, JoinCode, Ticket, Touch
from coupage.web.live.pages.sheet import clock_data, millis
from coupage.web.live.seats import KIND

__all__ = ["HostPage", "LateRow", "SeatRow", "host_page", "preparation"]

HERE = dt.timedelta(seconds=25)


@dataclass(frozen=True, slots=True)
class SeatRow:
    """One taster: whether their phone is heard, how far they are, what is still on the way."""

    seat: Seat
    row: MatrixRow
    heard: str
    tone: str
    waiting: int
    missing: int
    faults: str
    nudge: str
    code: str


@dataclass(frozen=True, slots=True)
class LateRow:
    """What one taster sent after the close."""

    seat: Seat
    touches: int
    before_close: int
    admit: str
    leave_out: str


@dataclass(frozen=True, slots=True)
class HostPage:
    table: Cupping
    invitation: joining.Invitation | None
    clock: str
    now: int
    begun: bool
    running: bool
    prepare: tuple[tuple[str, str], ...]
    sentence: str
    seats: tuple[SeatRow, ...]
    codes: tuple[str, ...]
    late: tuple[LateRow, ...]
    is_open: bool
    gaps: int


def host_page(request: HttpRequest, table: Cupping, at: dt.datetime) -> HostPage:
    """Return all that the host sees while a table is under way."""
    code = JoinCode.objects.filter(kind=KIND, key=table.pk, revoked_at=None).first()
    clock = clock_data(table, at)
    seats = _seats(table, at)
    return HostPage(
        table=table,
        invitation=joining.invitation(request, code) if code else None,
        clock=json.dumps(clock),
        now=millis(at),
        begun=clock["begun"],
        running=clock["running"],
        prepare=preparation(table.protocol, table.cups.count()),
        sentence=_sentence(table, seats),
        seats=seats,
        codes=tuple(cup.code for cup in table.cups.order_by("code")),
        late=_late(table),
        is_open=table.state == Cupping.State.OPEN and not table.void,
        gaps=sum(1 for row in seats if row.missing),
    )


def preparation(protocol: Protocol, cups: int) -> tuple[tuple[str, str], ...]:
    """Return what to weigh and heat for so many cups; a tenth more water wets and rinses."""
    dose, water = protocol.dose_mg / 1000, protocol.water_g
    return (
        ("Each cup", f"{dose:g} g to {water} g of water at {float(protocol.water_c):g} °C"),
        (f"All {cups} cups", f"{dose * cups:g} g of coffee"),
        ("Water to heat", f"{water * cups * 1.1 / 1000:.1f} kg, a tenth to spare"),
    )


def _seats(table: Cupping, at: dt.datetime) -> tuple[SeatRow, ...]:
    tickets = {
        ticket.place: ticket
        for ticket in Ticket.objects.filter(kind=KIND, key=table.pk, revoked_at=None)
    }
    faults: dict[int, list[str]] = {}
    marks = FaultMark.objects.filter(seat__cupping=table).order_by("cup__code")
    for seat, code in marks.values_list("seat", "cup__code"):
        faults.setdefault(seat, []).append(code)
    return tuple(
        _seat(row, tickets.get(row.seat.pk), faults.get(row.seat.pk, []), at)
        for row in matrix_of(table)
    )


def _seat(row: MatrixRow, ticket: Ticket | None, faults: list[str], at: dt.datetime) -> SeatRow:
    heard, tone = _heard(ticket, at)
    return SeatRow(
        seat=row.seat,
        row=row,
        heard=heard,
        tone=tone,
        waiting=ticket.waiting if ticket else 0,
        missing=sum(1 for cell in row.cells if cell.state != "done"),
        faults=", ".join(faults),
        nudge=reverse("live:nudge", args=[row.seat.pk]),
        code=reverse("live:seat-code", args=[row.seat.pk]),
    )


def _heard(ticket: Ticket | None, at: dt.datetime) -> tuple[str, str]:
    if ticket is None or ticket.seen_at is None:
        return "not here yet", "quiet"
    silent = at - ticket.seen_at
    if silent < HERE:
        return "here", "action"
    minutes = int(silent.total_seconds() // 60)
    return f"not heard for {minutes} min" if minutes else "not heard just now", "attention"


def _sentence(table: Cupping, seats: tuple[SeatRow, ...]) -> str:
    if table.void:
        return f"{table} was called off."
    here = sum(1 for row in seats if row.tone == "action")
    if table.state == Cupping.State.PLANNED:
        return (
            f"{len(seats)} {'seat is' if len(seats) == 1 else 'seats are'} taken, {here} here. "
            "Open the table when all have sat down."
        )
    filled, most = sum(r.row.filled for r in seats), sum(r.row.most for r in seats)
    waiting = sum(row.waiting for row in seats)
    on_the_way = f", {waiting} still on phones" if waiting else ""
    busy = [r.seat.taster.name for r in seats if r.missing and r.seat.finished_at is None]
    who = f" {joined(busy)} {'is' if len(busy) == 1 else 'are'} still at it." if busy else ""
    if len(busy) > 4:
        who = f" {len(busy)} are still at it."
    return f"{filled} of {most} ratings are in{on_the_way}.{who}"


def _late(table: Cupping) -> tuple[LateRow, ...]:
    late = Touch.objects.filter(seat__cupping=table, fate=Touch.Fate.LATE)
    counts = dict(late.order_by().values("seat").annotate(n=Count("pk")).values_list("seat", "n"))
    closed = table.revealed_at
    early: dict[int, int] = {}
    if closed is not None:
        made = late.filter(made_at__lte=closed).order_by().values("seat")
        early = dict(made.annotate(n=Count("pk")).values_list("seat", "n"))
    rows = []
    for seat in queries.seats_of(table).filter(pk__in=counts):
        admit = reverse("live:late", args=[seat.pk])
        rows.append(
            LateRow(seat, counts[seat.pk], early.get(seat.pk, 0), admit, f"{admit}?leave-out")
        )
    return tuple(rows)
