"""The demo's table under way: a clock that a visitor finds paused, and a code to join by."""

from __future__ import annotations

import datetime as dt

from coupage.web.cuppings.models import Cupping
from coupage.web.live.joining.codes import draw_letters
from coupage.web.live.models import ClockStep, JoinCode, TableClock
from coupage.web.live.seats import KIND

__all__ = ["write_clock"]

# A little into the tasting, so that everything is there to be tried.
_ELAPSED_S = 800


def write_clock(table: Cupping, *, at: dt.datetime) -> None:
    """Give a table under way its clock, paused, and its code."""
    clock = TableClock.objects.create(cupping=table, elapsed_ms=_ELAPSED_S * 1000)
    ClockStep.objects.bulk_create(
        ClockStep(clock=clock, order=order, name=step.name, at_s=step.at_s, caution=step.caution)
        for order, step in enumerate(table.protocol.steps.all(), start=1)
    )
    JoinCode.objects.create(
        letters=draw_letters(), kind=KIND, key=table.pk, made_by=table.host, made_at=at
    )
