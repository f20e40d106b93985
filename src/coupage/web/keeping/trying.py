"""A roast to try: an approach beside the one it comes from, for the planner of trials to use."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from coupage.errors import InputError
from coupage.web.coffees.actions import add_approach
from coupage.web.coffees.models import Approach
from coupage.web.coffees.pages import next_version
from coupage.web.people.models import Person

__all__ = ["make_trial_roast"]


def make_trial_roast(
    *,
    approach: Approach,
    name: str,
    seconds: Decimal | None,
    end_temperature_c: Decimal | None,
    by: Person,
    at: dt.datetime,
) -> Approach:
    """Add an approach to the same lot whose time and end temperature are moved.

    Loss and colour have no target yet: what comes out is what the trial is to show.

    Raises
    ------
    InputError
        When the approach has no time or temperature to move, or the lot has the name already.
    """
    version = next_version(approach)
    if version is None:
        raise InputError(f"{approach} has no targets to begin from")
    if approach.lot.approaches.filter(name=name).exists():
        raise InputError(f"{approach.lot} has an approach {name!r} already; choose another name")
    if seconds:
        if version.seconds is None:
            raise InputError(f"{approach} has no roast time to move")
        version.seconds += int(seconds)
    if end_temperature_c:
        if version.end_temperature_c is None:
            raise InputError(f"{approach} has no end temperature to move")
        version.end_temperature_c += end_temperature_c
    version.loss_pct = version.colour = None
    version.since = at.date()
    version.note = f"To try: from {approach.name}."
    return add_approach(lot=approach.lot, name=name, version=version, by=by, at=at)
