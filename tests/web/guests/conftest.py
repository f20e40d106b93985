"""A desk to run guest tests from, and what a roaster types to plan one."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from django.test import Client

from coupage.web.guests import queries
from coupage.web.guests.actions import planning, running
from coupage.web.guests.models import Answer, CupSet, GuestTest, Side
from coupage.web.people.models import Person
from tests.web import things
from tests.web.conftest import As


@pytest.fixture
def desk(roaster: Person, signed_in: As) -> Client:
    return signed_in(roaster)


def typed(**more: Any) -> dict[str, Any]:
    """Return the screen of a plan as sent."""
    return {
        "name": "Spring and autumn",
        "a_source": "named",
        "a_label": "Spring lot",
        "b_source": "named",
        "b_label": "Autumn lot",
        "question": "difference",
        "kind": "triangle",
        "asked_for": "",
        "share_ppm": "30",
        "alpha_ppm": "5",
        "beta_ppm": "5",
        "tasters": "",
        "repeats": "1",
        "note": "",
    } | more


def planned(by: Person, **more: Any) -> GuestTest:
    """Plan a test of two named coffees."""
    values = {"name": "Quiet test", "tasters": 12, "kind": "triangle", "beta_ppm": 50_000} | more
    return planning.add_test(
        test=GuestTest(**values),
        sides=[Side(label="North lot"), Side(label="South lot")],
        by=by,
        at=things.NOW,
        rng=np.random.default_rng(5),
    )


def opened(by: Person, **more: Any) -> GuestTest:
    test = planned(by, **more)
    return running.open_test(test=test, by=by, at=things.NOW)


def pick(test: GuestTest, cups: CupSet, right: bool) -> list[int]:
    """Return places that are right, or that are wrong."""
    places = sorted(cups.room(test.kind).answer)
    if right:
        return places
    if test.kind == "tetrad":
        other = next(i for i in range(4) if i not in places)
        return sorted([places[0], other])
    return [next(i for i in range(len(cups.order)) if i not in places)]


def answer_all(test: GuestTest, rights: Sequence[bool], by: Person) -> list[Answer]:
    """Answer the sets in the order of trays, right or wrong as told."""
    return [
        running.give_answer(
            cups=cups,
            picked=pick(test, cups, right),
            key=secrets.token_hex(8),
            by=by,
            at=things.NOW,
        )
        for cups, right in zip(queries.sets_of(test), rights, strict=False)
    ]
