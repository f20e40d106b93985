"""What goes into a roast day and what comes out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from coupage.errors import InputError

__all__ = ["Drum", "Order", "PlannedBatch", "RoastDay", "WayOut", "WayOutPrices"]

Status = Literal["optimal", "stopped", "impossible"]


@dataclass(frozen=True, slots=True)
class Drum:
    """A roasting machine.

    Attributes
    ----------
    least_kg, largest_kg
        Green charge it takes. Common practice: at most about 80 % of the nominal capacity, best
        50 to 70 % (Rao 2014, secondary); follow the maker's instructions.
    minutes
        From charge to the next charge of the same coffee; one number or one per coffee. Trade
        planning figure: 3 to 3.5 batches an hour.
    change_minutes
        What a change to another coffee takes beside that.
    preferred_kg
        Charges that its approaches were made for.
    coffees
        The only coffees that may go in; all when empty.
    """

    least_kg: float
    largest_kg: float
    name: str = "drum"
    minutes: float | Mapping[str, float] = 18.0
    change_minutes: float = 0.0
    preferred_kg: tuple[float, ...] = ()
    coffees: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        if not 0 < self.least_kg <= self.largest_kg < float("inf"):
            raise InputError(
                f"drum {self.name!r}: charges from {self.least_kg} to {self.largest_kg} kg came; "
                "the least must be above 0 and not above the largest"
            )
        several = isinstance(self.minutes, Mapping)
        times = list(self.minutes.values()) if isinstance(self.minutes, Mapping) else [self.minutes]
        if not all(t > 0 for t in times) or (several and not times) or not self.change_minutes >= 0:
            raise InputError(
                f"drum {self.name!r}: minutes {self.minutes} and change_minutes "
                f"{self.change_minutes}; a batch takes time above 0, a change 0 or more"
            )
        for size in self.preferred_kg:
            if not self.least_kg <= size <= self.largest_kg:
                raise InputError(
                    f"drum {self.name!r}: the preferred charge {size} kg lies outside "
                    f"{self.least_kg} to {self.largest_kg} kg"
                )

    def minutes_for(self, coffee: str) -> float:
        if not isinstance(self.minutes, Mapping):
            return float(self.minutes)
        if coffee not in self.minutes:
            raise InputError(f"drum {self.name!r}: minutes has no entry for {coffee!r}; add one")
        return float(self.minutes[coffee])


@dataclass(frozen=True, slots=True)
class Order:
    """Kilograms of one blend, roasted, at a time.

    Attributes
    ----------
    due_hours
        When its coffee must have dropped, in hours from the start of its day; None for the end.
    day
        1 for the first day of the plan.
    """

    blend: str
    kg: float
    name: str = ""
    due_hours: float | None = None
    day: int = 1

    @property
    def title(self) -> str:
        return self.name or self.blend


@dataclass(frozen=True, slots=True)
class PlannedBatch:
    """One batch to roast; minutes count from the start of its day."""

    coffee: str
    drum: str
    day: int
    start_minute: float
    end_minute: float
    charge_kg: float
    expected_kg: float


@dataclass(frozen=True, slots=True)
class WayOutPrices:
    """What it costs to bend a limit, in one currency. Our own assumption: set your own.

    A kilogram not delivered, an hour of roasting past the end of the day, a kilogram of green
    bought at short notice, an hour by which a due time is missed.
    """

    short_kg: float = 25.0
    overtime_hour: float = 60.0
    green_kg: float = 9.0
    late_hour: float = 40.0


@dataclass(frozen=True, slots=True)
class WayOut:
    """One way to make an impossible day possible, and its price.

    Attributes
    ----------
    short_kg
        Order by title: roasted kilograms to leave out.
    overtime_minutes
        Drum by name: minutes past the end of the day.
    buy_green_kg
        Coffee by name: green kilograms that are missing.
    late_minutes
        Order by title: minutes past its due time.
    """

    price: float
    short_kg: dict[str, float] = field(default_factory=dict)
    overtime_minutes: dict[str, float] = field(default_factory=dict)
    buy_green_kg: dict[str, float] = field(default_factory=dict)
    late_minutes: dict[str, float] = field(default_factory=dict)

    def sentence(self) -> str:
        """Say what to do."""
        parts = []
        if self.short_kg:
            parts.append(
                f"leave {sum(self.short_kg.values()):.1f} kg out of {_list(self.short_kg)}"
            )
        parts += [f"run {name} {m:.0f} min longer" for name, m in self.overtime_minutes.items()]
        parts += [f"get {kg:.1f} kg more green of {n}" for n, kg in self.buy_green_kg.items()]
        for wait in sorted(set(self.late_minutes.values())):
            names = [name for name, m in self.late_minutes.items() if m == wait]
            parts.append(f"deliver {_list(names)} {wait:.0f} min late")
        return " and ".join(parts)


@dataclass(frozen=True, slots=True)
class RoastDay:
    """A plan of whole batches.

    Attributes
    ----------
    batches
        In order of day, drum and start.
    surplus_kg
        Coffee by name: roasted kilograms that the plan is expected to make beyond the orders.
    status
        ``"optimal"``: every goal proven to within the asked gap. ``"stopped"``: out of time, this
        is the best so far. ``"impossible"``: not every order can be met; the batches then leave out
        as little as possible, and ``ways_out`` says what would help.
    gap
        Largest proven relative gap among the goals.
    changes
        Changes of coffee on the drums.
    minutes
        Drum by name: busy minutes over all days.
    green_kg
        Green used, by lot.
    unmet_kg
        Order by title: roasted kilograms that stay undone.
    ways_out
        Cheapest first.
    """

    batches: tuple[PlannedBatch, ...]
    surplus_kg: dict[str, float]
    status: Status
    gap: float
    changes: int = 0
    minutes: dict[str, float] = field(default_factory=dict)
    green_kg: dict[str, float] = field(default_factory=dict)
    unmet_kg: dict[str, float] = field(default_factory=dict)
    ways_out: tuple[WayOut, ...] = ()

    @property
    def total_surplus_kg(self) -> float:
        return sum(self.surplus_kg.values())

    def sentence(self) -> str:
        """Say in one or two sentences what the day looks like."""
        count = len(self.batches)
        text = (
            f"{count} {'batch' if count == 1 else 'batches'}, {self.changes} "
            f"{'change' if self.changes == 1 else 'changes'} of coffee, "
            f"{self.total_surplus_kg:.1f} kg beyond the orders"
        )
        stopped = " (best so far)" if self.status == "stopped" else ""
        if not self.unmet_kg:
            return f"{text}{stopped}."
        missing = ", ".join(f"{name} lacks {kg:.1f} kg" for name, kg in self.unmet_kg.items())
        text = f"Not every order can be met: {missing}. Within the limits: {text}{stopped}."
        if self.ways_out:
            text += f" Cheapest way out: {self.ways_out[0].sentence()}."
        return text


def _list(names: Iterable[str]) -> str:
    """First few names, and how many more."""
    every = list(names)
    if len(every) > 4:
        return f"{', '.join(every[:3])} and {len(every) - 3} more"
    return " and ".join([", ".join(every[:-1]), every[-1]]) if len(every) > 1 else every[0]
