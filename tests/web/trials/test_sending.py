"""A plan is weighed, and sent to a table once."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pytest
from django.test import Client

from coupage.units import PPM
from coupage.web.batches.models import Batch
from coupage.web.coffees.models import Approach
from coupage.web.cuppings.models import Attribute, Cupping, Part, Protocol, Sample, Taster
from coupage.web.people.models import Person
from coupage.web.trials.models import Plan
from coupage.web.trials.pages.trial import bench_of
from tests.web import things
from tests.web.conftest import As

pytestmark = pytest.mark.django_db
Table = tuple[Protocol, list[Attribute], list[Taster]]


def sent(coffees: list[Approach], table: Table, **more: Any) -> dict[str, Any]:
    protocol, attributes, tasters = table
    batches = {
        f"batch-{c.pk}": Batch.objects.filter(approach_version__approach=c).latest("pk").pk
        for c in coffees
    }
    return {
        "name": "Spring table",
        "held_at": "2026-04-02T10:00",
        "protocol": protocol.pk,
        "attributes": [attribute.pk for attribute in attributes],
        "tasters": [taster.pk for taster in tasters],
        "revision": "1",
        **batches,
    } | more


def test_a_plan_becomes_a_table_with_exactly_its_blends(
    plan: Plan, desk: Client, coffees: list[Approach], table: Table
) -> None:
    planned = Counter(bench_of(plan.pk, n).own for n in range(1, 8))
    answer = desk.post(f"/trials/{plan.pk}/send/", sent(coffees, table))
    cupping = Cupping.objects.get()
    assert answer.headers["Location"] == f"/cuppings/{cupping.pk}/"
    assert cupping.state == "planned"
    assert [r.name for r in cupping.rounds.all()] == ["hot", "cool"]
    assert cupping.seats.count() == 2
    poured = Counter()
    for cup in cupping.cups.all():
        shares = dict(
            Part.objects.filter(sample=cup.sample).values_list(
                "batch__approach_version__approach", "share_ppm"
            )
        )
        assert sum(shares.values()) == PPM
        poured[tuple(shares.get(coffee.pk, 0) for coffee in coffees)] += 1
    assert poured == planned, "a hidden repeat is one sample in two cups"
    assert len(set(cupping.cups.values_list("code", flat=True))) == 7
    assert not plan.trials.filter(sample=None).exists()
    page = desk.get(f"/trials/{plan.pk}/").text
    assert f'href="/cuppings/{cupping.pk}/"' in page
    assert "Send to a table" not in page


def test_a_plan_is_sent_once(
    plan: Plan, desk: Client, coffees: list[Approach], table: Table
) -> None:
    desk.post(f"/trials/{plan.pk}/send/", sent(coffees, table))
    answer = desk.post(f"/trials/{plan.pk}/send/", sent(coffees, table, name="Again", revision="2"))
    assert "was sent to the table Spring table already" in answer.text
    assert Cupping.objects.count() == 1
    for deed in ("choose-again", "samples/1/leave-out"):
        desk.post(f"/trials/{plan.pk}/{deed}/", {"revision": "2"})
    assert plan.trials.count() == 7


def test_two_who_send_at_once_make_one_table(
    plan: Plan, desk: Client, coffees: list[Approach], table: Table
) -> None:
    desk.post(f"/trials/{plan.pk}/send/", sent(coffees, table))
    answer = desk.post(f"/trials/{plan.pk}/send/", sent(coffees, table, name="At once"))
    assert "was changed by somebody else" in answer.text
    assert Cupping.objects.count() == 1
    assert not Sample.objects.filter(cups=None).exists(), "nothing is left of the second try"


def test_a_plan_can_be_sent_again_after_its_table_is_void(
    plan: Plan, desk: Client, coffees: list[Approach], table: Table
) -> None:
    desk.post(f"/trials/{plan.pk}/send/", sent(coffees, table))
    Cupping.objects.update(void=True)
    desk.post(f"/trials/{plan.pk}/send/", sent(coffees, table, name="Again", revision="2"))
    plan.refresh_from_db()
    assert plan.cupping is not None
    assert plan.cupping.name == "Again"


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"name": ""}, "required"),
        ({"held_at": "soon"}, "valid date"),
        ({"attributes": []}, "required"),
        ({"protocol": "999"}, "valid choice"),
    ],
)
def test_a_wrong_table_is_said_and_nothing_is_written(
    wrong: dict[str, Any],
    said: str,
    plan: Plan,
    desk: Client,
    coffees: list[Approach],
    table: Table,
) -> None:
    answer = desk.post(f"/trials/{plan.pk}/send/", sent(coffees, table, **wrong))
    assert said in answer.text
    assert not Cupping.objects.exists()
    assert not Sample.objects.exists()


def test_a_coffee_without_a_batch_is_named(
    plan: Plan, desk: Client, coffees: list[Approach], table: Table
) -> None:
    values = sent(coffees, table)
    Batch.objects.filter(approach_version__approach=coffees[0]).update(verdict="hold")
    answer = desk.post(f"/trials/{plan.pk}/send/", values)
    assert answer.status_code == 200
    assert not Cupping.objects.exists()


def test_a_viewer_may_not_send(
    plan: Plan, viewer: Person, signed_in: As, coffees: list[Approach], table: Table
) -> None:
    answer = signed_in(viewer).post(f"/trials/{plan.pk}/send/", sent(coffees, table))
    assert answer.status_code == 403
    assert not Cupping.objects.exists()


def test_the_weighing_sheet_adds_up(
    plan: Plan, desk: Client, viewer: Person, signed_in: As, table: Table
) -> None:
    """Seven cups of 11 g and a purge of 5 g before each: 7 * 16 g, rounded up on the scale."""
    query = {"protocol": table[0].pk, "resolution": "0.1", "purge": "5"}
    page = signed_in(viewer).get(f"/trials/{plan.pk}/weighing/", query)
    sheet = page.context["sheet"]
    for row in sheet.rows:
        grams = [float(part[2].removesuffix(" g")) for part in row.parts]
        assert sum(grams) == pytest.approx(11.0)
    pulled = sum(float(pull.grams.removesuffix(" g")) for pull in sheet.pulls)
    assert 7 * 16 - 1e-9 <= pulled <= 7 * 16 + 7 * 3 * 0.1
    assert (sheet.water, sheet.water_in_all) == ("200 g", "1.4 kg")


def test_a_coarse_scale_is_warned_of_and_an_impossible_one_refused(
    plan: Plan, desk: Client, table: Table
) -> None:
    query: dict[str, Any] = {"protocol": table[0].pk, "resolution": "1", "purge": "0"}
    assert desk.get(f"/trials/{plan.pk}/weighing/", query).context["sheet"].warnings
    things.protocol(name="Tiny", dose_mg=500)
    tiny = Protocol.objects.get(name="Tiny").pk
    answer = desk.get(
        f"/trials/{plan.pk}/weighing/", query | {"protocol": tiny, "resolution": "10"}
    )
    assert answer.context["sheet"] is None
    assert "cannot weigh a cup" in answer.text
