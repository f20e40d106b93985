"""A table with the seat of a stranger who joined, and what their phone sends."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pytest
from django.test import Client

from coupage.web.cuppings.models import Cupping, Rating, Seat
from coupage.web.live import joining
from coupage.web.live.models import Ticket
from coupage.web.people.models import Person
from tests.web import things

_keys = itertools.count(1)


@dataclass(frozen=True)
class Phone:
    """A phone at a seat: what it sends, and what it gets back."""

    seat: Seat
    token: str
    device: str = "aaaaaaaa"
    client: Client = field(default_factory=Client)

    @property
    def path(self) -> str:
        return f"/seat/{self.token}/"

    def rating(self, value: float | None, *, at: dt.datetime, cup: int = 0, **more: Any) -> Any:
        table = self.seat.cupping
        asked = list(table.asked.values_list("attribute_id", flat=True))
        return {
            "key": f"{next(_keys):08x}",
            "what": "rating",
            "at": round(at.timestamp() * 1000),
            "cup": table.cups.order_by("code")[cup].code,
            "pass": table.rounds.all()[0].pk,
            "attribute": asked[0],
            "value": value,
        } | more

    def other(self, what: str, *, at: dt.datetime, **more: Any) -> Any:
        code = self.seat.cupping.cups.order_by("code")[0].code
        made = {"key": f"{next(_keys):08x}", "what": what, "at": round(at.timestamp() * 1000)}
        return made | ({} if what == "done" else {"cup": code}) | more

    def send(self, *touches: Any, device: str = "", **more: Any) -> Any:
        body = {"device": device or self.device, "touches": list(touches)} | more
        return self.client.post(f"{self.path}touches/", body, content_type="application/json")

    def values(self) -> list[str]:
        found = Rating.objects.filter(seat=self.seat).order_by("cup__code", "round", "attribute")
        return [f"{r.value.normalize():f}" for r in found]


@pytest.fixture
def table(roaster: Person) -> Cupping:
    samples = [
        things.sample(label="Secret Orchard, washed"),
        things.sample(label="Hidden Meadow, natural"),
    ]
    other = things.taster(name="Guest Tongue")
    return things.cupping(
        name="Blind table",
        samples=samples,
        tasters=[other],
        passes=("warm", "cool"),
        cups=2,
        host=roaster,
    )


@pytest.fixture
def phone(table: Cupping) -> Phone:
    """Wren's phone, joined by the table's code."""
    return sit(table, "Wren")


def sit(table: Cupping, name: str) -> Phone:
    code = joining.make_code(kind="cupping", key=table.pk, by=None, at=things.NOW)
    ticket: Ticket = joining.come_in(code=code, name=name, once="", at=things.NOW)
    return Phone(Seat.objects.get(pk=ticket.place), joining.token(ticket))


Sit = Callable[[str], Phone]
