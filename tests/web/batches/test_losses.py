"""The loss to plan with: what counts, what does not, and what a change of target does."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from coupage.roast import expected_loss
from coupage.web.batches.losses import NEWEST, expected_losses
from coupage.web.coffees.models import ApproachVersion
from tests.web import things

pytestmark = pytest.mark.django_db


def roast(version: ApproachVersion, *out_kg: float, days_ago: int = 1, **more: object) -> None:
    for i, out in enumerate(out_kg):
        things.batch(
            approach_version=version,
            green_g=10_000,
            roasted_g=round(out * 1000),
            roasted_at=things.NOW - dt.timedelta(days=days_ago, minutes=i),
            **more,
        )


def test_the_estimate_is_the_rooms_over_all_approaches() -> None:
    one = things.approach_version(name="filter")
    two = things.approach_version(name="filter")
    new = things.approach_version(name="filter")
    roast(one, 8.5, 8.6, 8.55)
    roast(two, 8.2)
    found = expected_losses()
    names = [v.approach.lot.name for v in (one, one, one, two)]
    room = expected_loss([0.15, 0.14, 0.145, 0.18], lots=names, approaches=["filter"] * 4)
    assert found[two.approach_id].mean == pytest.approx(room.expect(names[3], "filter").mean)
    assert 0.145 < found[two.approach_id].mean < 0.18, "one batch leans on its fellows"
    assert found[new.approach_id].batches == 0
    assert found[new.approach_id].sd > found[one.approach_id].sd
    assert len(found) == 3


def test_void_held_and_unweighed_batches_say_nothing() -> None:
    version = things.approach_version()
    roast(version, 8.5, 8.5, 8.6)
    before = expected_losses()[version.approach_id]
    roast(version, 5.0, void=True)
    roast(version, 5.0, verdict="hold")
    things.batch(approach_version=version, roasted_g=None)
    assert expected_losses()[version.approach_id] == before


def test_old_batches_move_with_the_target() -> None:
    old = things.approach_version(loss_pct=Decimal("14.0"))
    roast(old, 8.6, 8.6, 8.6, 8.6, 8.6, 8.6)
    assert expected_losses()[old.approach_id].mean == pytest.approx(0.14, abs=0.003)
    things.approach_version(approach=old.approach, loss_pct=Decimal("16.0"))
    assert expected_losses()[old.approach_id].mean == pytest.approx(0.16, abs=0.003)


def test_only_the_newest_batches_count() -> None:
    version = things.approach_version()
    roast(version, *[8.6] * NEWEST)
    before = expected_losses()[version.approach_id]
    roast(version, *[8.0] * 5, days_ago=400)
    assert expected_losses()[version.approach_id] == before


def test_three_queries_whatever_there_is() -> None:
    for _ in range(4):
        roast(things.approach_version(), 8.5, 8.4)
    with CaptureQueriesContext(connection) as made:
        expected_losses()
    assert len(made) == 3
