"""Writes of the table's clock: started, paused, put off, turned back."""

from __future__ import annotations

import datetime as dt

from django.db import transaction
from django.db.models import F

from coupage.errors import InputError
from coupage.web.cuppings.actions.setup import locked
from coupage.web.cuppings.models import Cupping
from coupage.web.live.models import ClockStep, TableClock
from coupage.web.people import history
from coupage.web.people.models import Person

__all__ = [
    "elapsed_ms",
    "go_back",
    "go_on",
    "pause_clock",
    "put_off",
    "run_clock",
    "set_clock_up",
]

_JUST_BEGUN_MS = 5_000
_LONGEST_S = 3_600


def elapsed_ms(clock: TableClock, at: dt.datetime) -> int:
    """Return what the clock shows at a time, in milliseconds after the pour."""
    if clock.running_since is None:
        return clock.elapsed_ms
    passed = max(dt.timedelta(0), at - clock.running_since)
    return clock.elapsed_ms + round(passed.total_seconds() * 1000)


@transaction.atomic
def set_clock_up(*, cupping: Cupping) -> TableClock:
    """Return a table's clock; a new one, with the steps of its protocol, where there is none."""
    cupping = Cupping.objects.select_for_update().get(pk=cupping.pk)
    clock, is_new = TableClock.objects.get_or_create(cupping=cupping)
    if is_new:
        _take_steps(clock, cupping)
    return clock


def _take_steps(clock: TableClock, cupping: Cupping) -> None:
    clock.steps.all().delete()
    ClockStep.objects.bulk_create(
        ClockStep(clock=clock, order=order, name=step.name, at_s=step.at_s, caution=step.caution)
        for order, step in enumerate(cupping.protocol.steps.all(), start=1)
    )


@transaction.atomic
def run_clock(*, cupping: Cupping, by: Person, at: dt.datetime) -> TableClock:
    """Start the clock at the pour, or let it run on.

    Until it is started it follows the protocol as that is then.

    Raises
    ------
    InputError
        When it runs already, or the table is not open.
    """
    locked(cupping.pk, Cupping.State.OPEN)
    clock = set_clock_up(cupping=cupping)
    if clock.running_since is not None:
        raise InputError("the clock runs already")
    if clock.elapsed_ms == 0:
        _take_steps(clock, cupping)
    verb = "let the clock run on" if clock.elapsed_ms else "started the clock"
    clock.running_since = at
    clock.save()
    history.record(cupping, verb=verb, by=by, at=at)
    return clock


@transaction.atomic
def pause_clock(*, cupping: Cupping, by: Person, at: dt.datetime) -> TableClock:
    """Stop the clock where it is, on every phone."""
    clock = _under_way(cupping)
    if clock.running_since is None:
        raise InputError("the clock stands already")
    clock.elapsed_ms, clock.running_since = elapsed_ms(clock, at), None
    clock.save()
    history.record(cupping, verb="paused the clock", by=by, at=at)
    return clock


@transaction.atomic
def put_off(*, cupping: Cupping, seconds: int, by: Person, at: dt.datetime) -> TableClock:
    """Give the step that is on more time: all later steps move by so many seconds.

    Raises
    ------
    InputError
        When no step follows, or the time is not between one second and an hour.
    """
    if not 1 <= seconds <= _LONGEST_S:
        raise InputError(f"{seconds} s: give from 1 to {_LONGEST_S} seconds more")
    clock = _under_way(cupping)
    later = clock.steps.filter(at_s__gt=elapsed_ms(clock, at) // 1000)
    if not later.update(at_s=F("at_s") + seconds):
        raise InputError("this is the last step; nothing follows that could be put off")
    history.record(cupping, verb=f"put the next step off by {seconds} s", by=by, at=at)
    return clock


@transaction.atomic
def go_on(*, cupping: Cupping, by: Person, at: dt.datetime) -> TableClock:
    """Turn the clock forward to the next step.

    Raises
    ------
    InputError
        When the last one is on.
    """
    clock = _under_way(cupping)
    shown = elapsed_ms(clock, at) // 1000
    following = clock.steps.filter(at_s__gt=shown).order_by("at_s").first()
    if following is None or following.at_s is None:
        raise InputError("this is the last step")
    return _turn(clock, following.at_s * 1000, f"went on to: {following.name}", by, at)


@transaction.atomic
def go_back(*, cupping: Cupping, by: Person, at: dt.datetime) -> TableClock:
    """Turn the clock back to where the step began; when it has just begun, to the one before.

    Back from the pour the clock stands at nothing, as if it had not been started.
    """
    clock = _under_way(cupping)
    shown = elapsed_ms(clock, at)
    limit = max(0, shown - _JUST_BEGUN_MS) // 1000
    before = clock.steps.filter(at_s__lte=limit, at_s__isnull=False).order_by("-at_s").first()
    if shown <= _JUST_BEGUN_MS or before is None or before.at_s is None:
        clock.elapsed_ms, clock.running_since = 0, None
        clock.save()
        history.record(cupping, verb="set the clock back to before the pour", by=by, at=at)
        return clock
    return _turn(clock, before.at_s * 1000, f"went back to: {before.name}", by, at)


def _turn(clock: TableClock, to_ms: int, verb: str, by: Person, at: dt.datetime) -> TableClock:
    clock.elapsed_ms = to_ms
    if clock.running_since is not None:
        clock.running_since = at
    clock.save()
    history.record(clock.cupping, verb=verb[:200], by=by, at=at)
    return clock


def _under_way(cupping: Cupping) -> TableClock:
    locked(cupping.pk, Cupping.State.OPEN)
    clock = TableClock.objects.filter(cupping=cupping).first()
    if clock is None or (clock.running_since is None and clock.elapsed_ms == 0):
        raise InputError("the clock is not started yet")
    return clock
