"""What a phone needs for one taster's sheet: codes, what is asked, what was entered. Codes only."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.db.models import Max
from django.urls import reverse

from coupage.table import caffeine_per_spoon
from coupage.web.cuppings.models import Cupping, Rating, Seat, Word
from coupage.web.cuppings.pages.sheet import cups_of
from coupage.web.cuppings.words import suggestions
from coupage.web.live.actions.clock import elapsed_ms
from coupage.web.live.models import ClockStep, FaultMark, TableClock, Ticket, Touch

__all__ = ["clock_data", "millis", "pulse_data", "sheet_data", "state_of"]

SPOON_ML = (5.0, 7.0)


def millis(at: dt.datetime) -> int:
    """Return a time as milliseconds since 1970, as browsers count it."""
    return round(at.timestamp() * 1000)


def state_of(table: Cupping) -> str:
    """Return where a table is: planned, open, revealed or void."""
    return "void" if table.void else table.state


def clock_data(table: Cupping, at: dt.datetime) -> dict[str, Any]:
    """Return the table's clock as phones and walls follow it.

    Before it is set up it stands at nothing, with the steps of the protocol.
    """
    clock = TableClock.objects.filter(cupping=table).prefetch_related("steps").first()
    begun = clock is not None and (clock.running_since is not None or clock.elapsed_ms > 0)
    steps = list(clock.steps.all()) if clock and begun else list(table.protocol.steps.all())
    return {
        "elapsed": elapsed_ms(clock, at) if clock else 0,
        "running": bool(clock and clock.running_since),
        "begun": begun,
        "steps": [_step(step) for step in steps],
    }


def _step(step: ClockStep | Any) -> dict[str, Any]:
    return {"name": step.name, "at": step.at_s, "caution": step.caution}


def pulse_data(seat: Seat, ticket: Ticket, device: str, at: dt.datetime) -> dict[str, Any]:
    """Return what a phone asks for every few seconds.

    ``have`` counts what this device sent and is kept here: a phone that knows of more sends all of
    it again, as after a copy of the database was put back.
    """
    touches = Touch.objects.filter(seat=seat)
    return {
        "now": millis(at),
        "state": state_of(seat.cupping),
        "clock": clock_data(seat.cupping, at),
        "nudged": millis(ticket.nudged_at) if ticket.nudged_at else 0,
        "have": touches.filter(device=device).count(),
        # What other devices of this seat added: a phone that sees it rise asks for the sheet anew.
        "others": touches.exclude(device=device).aggregate(newest=Max("pk"))["newest"] or 0,
    }


def sheet_data(seat: Seat, token: str, at: dt.datetime) -> dict[str, Any]:
    """Return everything one taster's sheet is made of, cups in the taster's own order."""
    table = seat.cupping
    begun = table.state != Cupping.State.PLANNED
    rows = Rating.objects.filter(seat=seat).values_list(
        "cup__code", "round", "attribute", "value", "at"
    )
    low, high = caffeine_per_spoon(
        table.protocol.dose_mg / 1000, table.protocol.water_g, spoon_ml=SPOON_ML
    )
    return {
        "now": millis(at),
        "table": table.name,
        "taster": seat.taster.name,
        "state": state_of(table),
        "token": token,
        "at": {
            "pulse": reverse("live:pulse", args=[token]),
            "touches": reverse("live:touches", args=[token]),
            "sheet": reverse("live:sheet", args=[token]),
            "worker": reverse("live:worker"),
        },
        "cups": [cup.code for cup in cups_of(seat)] if begun else [],
        "passes": [{"key": r.pk, "name": r.name} for r in table.rounds.all()],
        "asked": [
            {
                "key": entry.attribute.pk,
                "name": entry.attribute.name,
                "kind": entry.attribute.kind,
                "low": entry.attribute.low_word,
                "high": entry.attribute.high_word,
            }
            for entry in table.asked.select_related("attribute")
        ],
        "ratings": [[code, r, a, float(value), millis(when)] for code, r, a, value, when in rows],
        "words": list(Word.objects.filter(seat=seat).values_list("cup__code", "text")),
        "faults": list(FaultMark.objects.filter(seat=seat).values_list("cup__code", flat=True)),
        "finished": seat.finished_at is not None,
        "lexicon": suggestions(),
        "spoon": {"low": round(low, 2), "high": round(high, 2)},
        "clock": clock_data(table, at),
    }
