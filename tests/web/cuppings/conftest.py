"""A table with two seats: one of the signed-in taster, one of a guest."""

from __future__ import annotations

import threading
from dataclasses import dataclass

import pytest

from coupage.web.cuppings import kept
from coupage.web.cuppings.models import Cup, Cupping, Rating, Seat
from coupage.web.people.models import Person
from tests.web import things


@dataclass(frozen=True)
class Table:
    """An open table, by its parts."""

    cupping: Cupping
    own: Seat
    other: Seat

    @property
    def cups(self) -> list[Cup]:
        return list(self.cupping.cups.order_by("code"))

    def box(self, cup: int = 0, attribute: int = 0, round_: int = 0) -> str:
        """Return the name of a cell in the sheet."""
        return f"c-{self.cups[cup].code}-{self.cell(attribute, round_)}"

    def cell(self, attribute: int = 0, round_: int = 0) -> str:
        asked = self.cupping.asked.all()[attribute].attribute_id
        return f"r-{self.cupping.rounds.all()[round_].pk}-{asked}"

    def save(self, seat: Seat, cup: int = 0) -> str:
        return f"/cuppings/seats/{seat.pk}/cups/{self.cups[cup].code}/ratings/"

    def words(self, seat: Seat, cup: int = 0) -> str:
        return f"/cuppings/seats/{seat.pk}/cups/{self.cups[cup].code}/words/"

    def values(self) -> list[str]:
        return [f"{r.value.normalize():f}" for r in Rating.objects.order_by("id")]


def work_is_over() -> None:
    """Wait until nothing runs beside the pages any more, and holds the database."""
    for thread in threading.enumerate():
        if thread.name == kept.THREAD:
            thread.join(20)


@pytest.fixture
def table(taster: Person) -> Table:
    samples = [
        things.sample(label="Secret Orchard, washed"),
        things.sample(label="Hidden Meadow, natural"),
    ]
    own = things.taster(name="Own Tongue", person=taster)
    other = things.taster(name="Guest Tongue")
    made = things.cupping(
        name="Blind table", samples=samples, tasters=[own, other], passes=("warm", "cool")
    )
    seats = list(made.seats.order_by("order"))
    return Table(made, seats[0], seats[1])
