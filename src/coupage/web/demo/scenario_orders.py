"""Who gets the demo's coffee, and a year of what they ordered. All names are invented."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["CUSTOMERS", "OPEN", "STANDING", "WEEKS", "CustomerPlan", "OpenPlan", "StandingPlan"]

WEEKS = 52


@dataclass(frozen=True, slots=True)
class CustomerPlan:
    name: str
    address: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class StandingPlan:
    """``day`` counts from today: the weekday of the standing order follows from it."""

    customer: str
    day: int
    lines: tuple[tuple[str, int, int], ...]  # blend, grams of a bag, bags


@dataclass(frozen=True, slots=True)
class OpenPlan:
    """An order that is still to be made, beside the standing ones."""

    customer: str
    day: int
    lines: tuple[tuple[str, int, int], ...]
    by: str = ""
    note: str = ""


CUSTOMERS = (
    CustomerPlan("Yard counter", "Ottersby Coffee Yard, across the court", "Our own counter."),
    CustomerPlan("Ferry Steps kiosk", "Ferry Steps, by the slip", "Our own kiosk."),
    CustomerPlan("Lantern Row", "4 Lantern Row, back door before nine"),
    CustomerPlan("Mill Lane bakehouse", "Mill Lane, ring at the ovens"),
    CustomerPlan("Harbour larder", "1 Net Street", "Sells bags over the counter; labels outwards."),
    CustomerPlan("Quay house", "12 Long Quay"),
)

STANDING = (
    StandingPlan("Yard counter", 0, (("Ropewalk", 1_000, 12), ("Slack Tide", 1_000, 3))),
    StandingPlan("Ferry Steps kiosk", 0, (("Ropewalk", 1_000, 9),)),
    StandingPlan("Lantern Row", 1, (("Ropewalk", 1_000, 12),)),
    StandingPlan("Mill Lane bakehouse", 1, (("Ropewalk", 1_000, 6), ("Slack Tide", 1_000, 2))),
    StandingPlan("Harbour larder", 2, (("Ropewalk", 250, 28), ("Slack Tide", 250, 20))),
    StandingPlan("Quay house", 4, (("Ropewalk", 1_000, 9), ("Slack Tide", 1_000, 3))),
)

OPEN = (
    OpenPlan("Quay house", 0, (("Ropewalk", 1_000, 8),), "13:00", "A wedding; collected at one."),
    OpenPlan("Lantern Row", 1, (("Ropewalk", 2_500, 2), ("Slack Tide", 250, 12))),
)
