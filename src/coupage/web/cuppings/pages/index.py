"""The list of tables: all of them for readers, the own ones for a taster."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Count, F, Q
from django.urls import reverse

from coupage.web.common.listing import Choice, Filter, Listing
from coupage.web.common.requests import Request
from coupage.web.cuppings import queries
from coupage.web.cuppings.models import Cupping, Rating, Seat
from coupage.web.people.access import may

__all__ = ["STATES", "CuppingsPage", "TableRow", "cuppings_page"]

# What a state is called, and the tone of its badge.
STATES: dict[str, tuple[str, str]] = {
    Cupping.State.PLANNED: ("being set up", "quiet"),
    Cupping.State.OPEN: ("under way", "attention"),
    Cupping.State.REVEALED: ("revealed", "action"),
}


@dataclass(frozen=True, slots=True)
class TableRow:
    """A table as the list shows it. ``filled`` speaks of all seats, or of the own one."""

    table: Cupping
    state: str
    tone: str
    samples: int
    tasters: int
    filled: str
    sheet: str


@dataclass(frozen=True, slots=True)
class CuppingsPage:
    sentence: str
    tables: Listing[TableRow]
    reads: bool


def cuppings_page(request: Request) -> CuppingsPage:
    person = request.user
    reads = may(person, "see")
    states = [
        Choice(state, label, Q(state=state, void=False))
        for state, (label, _) in STATES.items()
        if reads or state != Cupping.State.PLANNED
    ]
    tables = Listing.of(
        request,
        queries.counted_cuppings(queries.cuppings_for(person)),
        search=("name", "note", "protocol__name") if reads else ("name",),
        sorts={
            "name": "name",
            "held": ("held_at", "id"),
            "protocol": ("protocol__name", "-held_at"),
            "state": ("state", "-held_at"),
        },
        default="-held",
        filters=(
            Filter("state", "State", tuple(states)),
            Filter(
                "kept",
                "Show",
                (
                    Choice("valid", "Valid", Q(void=False)),
                    Choice("void", "Void", Q(void=True)),
                ),
                default="valid",
            ),
        )
        if reads
        else (Filter("state", "State", tuple(states)),),
    )
    own = _own(request, [table.pk for table in tables.rows]) if not reads else {}
    open_tables = queries.cuppings_for(person).filter(state=Cupping.State.OPEN, void=False).count()
    return CuppingsPage(_sentence(open_tables, reads), tables.map(lambda t: _row(t, own)), reads)


def _sentence(under_way: int, reads: bool) -> str:
    if not under_way:
        return ""
    one = under_way == 1
    if reads:
        return f"{under_way} {'table is' if one else 'tables are'} under way."
    return f"{under_way} {'table waits' if one else 'tables wait'} for you."


def _own(request: Request, tables: list[int]) -> dict[int, tuple[Seat, int]]:
    seats = Seat.objects.filter(taster__person=request.user, cupping__in=tables)
    done = dict(
        Rating.objects.filter(seat__in=seats)
        .order_by()
        .values("seat")
        .annotate(n=Count("pk"))
        .values_list(F("seat"), "n")
    )
    return {seat.cupping_id: (seat, done.get(seat.pk, 0)) for seat in seats}


def _row(table: queries.CountedCupping, own: dict[int, tuple[Seat, int]]) -> TableRow:
    label, tone = STATES[table.state]
    cells = table.cup_count * table.round_count * table.asked_count
    seat, done = own.get(table.pk, (None, 0))
    if seat is None:
        done, cells = table.rating_count, cells * table.seat_count
    waits = seat is not None and table.state == Cupping.State.OPEN
    return TableRow(
        table=table,
        state="void" if table.void else label,
        tone="stop" if table.void else tone,
        samples=table.sample_count,
        tasters=table.seat_count,
        filled=f"{100 * done // cells} %" if cells else "–",
        sheet=reverse("live:taste", args=[seat.pk]) if waits and seat else "",
    )
