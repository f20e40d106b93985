"""What waits today: for the people who run the roastery, and for a taster."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Q, QuerySet
from django.utils import timezone

from coupage.units import MassUnit, show_mass
from coupage.web.batches import queries as batches
from coupage.web.batches.models import Batch
from coupage.web.batches.pages import checks, off_target
from coupage.web.coffees import queries as coffees
from coupage.web.common.requests import Request
from coupage.web.cuppings.models import Cupping
from coupage.web.keeping.queries import DueRecupping, due_recuppings
from coupage.web.people.access import may
from coupage.web.people.models import Person
from coupage.web.people.queries import roastery

__all__ = ["LowLot", "TodayPage", "today_page"]

SHOWN = 8
NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


@dataclass(frozen=True, slots=True)
class LowLot:
    pk: int
    name: str
    left: str


@dataclass(frozen=True, slots=True)
class WaitingBatch:
    """A batch without a verdict; ``is_clear`` when nothing speaks against releasing it at once."""

    batch: Batch
    found: str
    is_clear: bool


@dataclass(frozen=True, slots=True)
class TodayPage:
    sentence: str
    waiting: tuple[WaitingBatch, ...]
    waiting_more: int
    tables: tuple[Cupping, ...]
    low: tuple[LowLot, ...]
    ageing: tuple[DueRecupping, ...]
    is_new: bool


def today_page(request: Request) -> TodayPage:
    person = request.user
    tables = tuple(_tables(person))
    if not may(person, "see"):
        return TodayPage(
            sentence=_joined([_many(len(tables), "table waits", "tables wait") + " for you"])
            if tables
            else "No table waits for you.",
            waiting=(),
            waiting_more=0,
            tables=tables,
            low=(),
            ageing=(),
            is_new=False,
        )
    unit: MassUnit = person.mass_unit  # type: ignore[assignment]
    waiting = list(batches.waiting()[: SHOWN + 1])
    count = batches.waiting().count() if len(waiting) > SHOWN else len(waiting)
    low_g = roastery().low_stock_g
    low = tuple(
        LowLot(lot.pk, lot.name, show_mass(lot.on_hand_g, unit))
        for lot in coffees.lots_running_low(low_g)
    )
    ageing = tuple(due_recuppings(timezone.now()))
    waits = [
        _many(count, "batch waits", "batches wait") + " for a verdict" if count else "",
        _many(len(tables), "table is", "tables are") + " not finished" if tables else "",
        _many(len(ageing), "sample is", "samples are") + " to be cupped again" if ageing else "",
        _many(len(low), "lot is", "lots are") + " running low" if low else "",
    ]
    return TodayPage(
        sentence=_joined([part for part in waits if part]),
        waiting=tuple(_waiting(batch, unit) for batch in waiting[:SHOWN]),
        waiting_more=max(0, count - SHOWN),
        tables=tables,
        low=low,
        ageing=ageing,
        is_new=not coffees.lots().exists(),
    )


def _waiting(batch: Batch, unit: MassUnit) -> WaitingBatch:
    off = off_target(checks(batch, unit))
    if batch.roasted_g is None:
        return WaitingBatch(batch, "not weighed yet", is_clear=False)
    if off is None:
        return WaitingBatch(batch, "no targets to go by", is_clear=False)
    return WaitingBatch(batch, off or "on target", is_clear=not off)


def _tables(person: Person) -> QuerySet[Cupping]:
    tables = Cupping.objects.filter(void=False).exclude(state=Cupping.State.REVEALED)
    if not may(person, "see"):
        tables = tables.filter(Q(seats__taster__person=person), state=Cupping.State.OPEN)
    return tables.select_related("protocol", "host").order_by("held_at")


def _many(n: int, one: str, more: str) -> str:
    return f"{NUMBERS[n] if n < len(NUMBERS) else n} {one if n == 1 else more}"


def _joined(parts: list[str]) -> str:
    if not parts:
        return "Nothing waits."
    text = parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
    return f"{text[0].upper()}{text[1:]}."
