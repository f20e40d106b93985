"""Re-cuppings: planned, due, done; what age does; references put by."""

from __future__ import annotations

import datetime as dt

import pytest
from django.utils import timezone

from coupage.web.batches.models import Batch
from coupage.web.keeping import actions, queries
from coupage.web.keeping.models import AgeingPlan, Retained
from coupage.web.people.models import Person
from tests.web import things
from tests.web.conftest import As
from tests.web.keeping import tables

pytestmark = pytest.mark.django_db


def aged(days: float) -> Batch:
    return things.batch(roasted_at=timezone.now() - dt.timedelta(days=days))


def states(batch: Batch) -> list[tuple[int, str]]:
    plan = AgeingPlan.objects.get(batch=batch)
    return [(d.day, d.state) for d in queries.planned_days(plan, timezone.now())]


def test_a_plan_says_what_is_done_due_missed_and_ahead(roaster: Person, signed_in: As) -> None:
    batch = aged(9.2)
    client = signed_in(roaster)
    client.post(f"/keeping/ageing/{batch.pk}/plan/", {"days": "14, 2 5;9"})
    assert states(batch) == [(2, "missed"), (5, "missed"), (9, "due"), (14, "ahead")]
    tables.reveal({batch: {}}, held_at=batch.roasted_at + dt.timedelta(days=5.4))
    assert states(batch)[1] == (5, "done")
    assert [(d.batch, d.day) for d in queries.due_recuppings(timezone.now())] == [(batch, 9)]
    assert (
        f"{batch.number} (day 9) waits to be cupped again." in client.get("/keeping/ageing/").text
    )
    client.post(f"/keeping/ageing/{batch.pk}/end/")
    assert queries.due_recuppings(timezone.now()) == []
    client.post(f"/keeping/ageing/{batch.pk}/end/?back")
    assert len(queries.due_recuppings(timezone.now())) == 1


def test_today_asks_for_what_is_due(roaster: Person, signed_in: As) -> None:
    batch = aged(2.1)
    client = signed_in(roaster)
    assert "To cup again" not in client.get("/").text
    actions.plan_ageing(batch=batch, days=[2, 9], by=roaster, at=timezone.now())
    page = client.get("/").text
    assert "To cup again" in page
    assert f'href="/keeping/ageing/{batch.pk}/"' in page


@pytest.mark.parametrize("days", ["", "two", "0, 5", "400", ", ,", "1.5"])
def test_days_that_cannot_be_planned_are_refused(days: str, roaster: Person, signed_in: As) -> None:
    batch = aged(1)
    answer = signed_in(roaster).post(f"/keeping/ageing/{batch.pk}/plan/", {"days": days})
    assert answer.status_code == 422
    assert not AgeingPlan.objects.exists()


def test_of_two_people_who_change_a_plan_the_second_is_told(roaster: Person, signed_in: As) -> None:
    batch, client = aged(1), signed_in(roaster)
    address = f"/keeping/ageing/{batch.pk}/plan/"
    client.post(address, {"days": "2, 5"})
    client.post(address, {"days": "2, 6", "revision": "1"})
    told = client.post(address, {"days": "2, 7", "revision": "1"})
    assert "changed by somebody else" in told.text
    assert AgeingPlan.objects.get().days == [2, 6]


def test_each_attribute_is_shown_against_age_and_the_change_is_said(
    roaster: Person, signed_in: As
) -> None:
    """Fruit fades by two points from day 2 to 16 beside a steady neighbour; body stays."""
    batch, steady = aged(20), aged(20)
    crew = [things.taster() for _ in range(5)]
    for i, (day, fade) in enumerate([(2, 0.0), (9, -1.0), (16, -2.0)]):
        tables.reveal(
            {batch: {"fruit": fade}, steady: {}},
            tasters=crew,
            cups=3,
            noise=0.4,
            seed=i,
            held_at=batch.roasted_at + dt.timedelta(days=day),
        )
    wants = [{"attribute": things.attribute("fruit"), "kind": "at least", "low": 4, "must": True}]
    brief = things.brief(wants, name="House")
    page = signed_in(roaster).get(f"/keeping/ageing/{batch.pk}/?brief={brief.pk}").context["page"]
    assert page.sentence.startswith("In 14 days fruit −")
    assert "body" not in page.sentence
    parts = {part.name: part.picture.points for part in page.attributes}
    ages = [round(age) for age, _ in parts["fruit"]]
    assert ages == [2, 9, 16]
    fades = [belief.mean for _, belief in parts["fruit"]]
    assert fades[0] - fades[2] == pytest.approx(2.0, abs=0.5)
    assert [row.best for row in page.rest] == [True, False, False]
    assert page.window.startswith("Of the ages tasted, day 2 serves House best")


def test_one_age_alone_tells_nothing(roaster: Person, signed_in: As) -> None:
    batch = aged(5)
    tables.reveal({batch: {}}, held_at=batch.roasted_at + dt.timedelta(days=2))
    page = signed_in(roaster).get(f"/keeping/ageing/{batch.pk}/").context["page"]
    assert page.sentence == f"{batch} was not tasted at two ages yet."
    assert page.attributes == ()


def test_a_reference_is_put_by_renewed_and_used_up(roaster: Person, signed_in: As) -> None:
    version = things.approach_version()
    first, second = (things.batch(approach_version=version) for _ in range(2))
    client = signed_in(roaster)
    sent = {"kept": "frozen", "since": "2026-03-01", "reason": "the best of March"}
    client.post(f"/keeping/ageing/{first.pk}/retain/", sent)
    client.post(f"/keeping/ageing/{second.pk}/retain/", sent | {"since": "2026-03-10"})
    now = queries.retained()
    assert [(row.batch, row.since) for row in now] == [(second, dt.date(2026, 3, 10))]
    old = Retained.objects.get(batch=first)
    assert old.ended_on == dt.date(2026, 3, 10)
    client.post(f"/keeping/retained/{now[0].pk}/used-up/")
    assert queries.retained() == []
    Batch.objects.filter(pk=first.pk).update(verdict="hold")
    told = client.post(f"/keeping/ageing/{first.pk}/retain/", sent)
    assert "is on hold; choose another" in told.text


def test_a_viewer_plans_nothing(viewer: Person, signed_in: As) -> None:
    batch, client = aged(1), signed_in(viewer)
    assert client.get(f"/keeping/ageing/{batch.pk}/").status_code == 200
    assert client.post(f"/keeping/ageing/{batch.pk}/plan/", {"days": "2"}).status_code == 403
    assert not AgeingPlan.objects.exists()
