"""Roast days in the web: from orders to the machines' lists, and mended during the day."""

from __future__ import annotations

import datetime as dt
import threading
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from coupage.errors import InputError
from coupage.plan import RoastDay, check_plan
from coupage.units import PPM
from coupage.web.batches import machine_actions
from coupage.web.batches.models import PlannedBatch
from coupage.web.blends.models import Blend, Recipe
from coupage.web.coffees import queries as coffees
from coupage.web.coffees.models import Approach
from coupage.web.people.models import Person
from coupage.web.roastdays import actions, finding, repairing
from coupage.web.roastdays.facts import facts_of
from coupage.web.roastdays.models import DayBatch, DayPlan
from tests.web import things
from tests.web.conftest import As

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def patience(monkeypatch: pytest.MonkeyPatch) -> None:
    """A busy machine must not turn a short search into one beside the page."""
    monkeypatch.setattr(finding, "PATIENCE", 60)


@pytest.fixture
def client(roaster: Person, signed_in: As) -> Client:
    return signed_in(roaster)


@pytest.fixture
def blend() -> Blend:
    """Half washed, half decaffeinated, in service; 16 % loss of each seen often."""
    parts = {}
    for name, decaf in (("Washed", False), ("Plain", True)):
        lot = things.lot(name=name, decaffeinated=decaf, bag_g=60_000)
        version = things.approach_version(lot=lot, name="medium", charge_g=9_000, loss_pct=16)
        for n in range(12):
            things.batch(
                approach_version=version, green_g=10_000, roasted_g=8_400,
                roasted_at=things.NOW - dt.timedelta(days=60 + n),
            )  # fmt: skip
        parts[version.approach] = PPM // 2
    recipe = things.recipe(shares=parts)
    approved = {"approved_by": things.person(), "approved_at": things.NOW}
    Recipe.objects.filter(pk=recipe.pk).update(
        state="in service", in_service_from=things.NOW.date(), **approved
    )
    return recipe.blend


@pytest.fixture
def drum() -> object:
    return things.machine(name="Drum", least_charge_g=4_000, largest_charge_g=12_000)


def today() -> dt.date:
    return timezone.localdate()


def planned(client: Client, **more: object) -> DayPlan:
    sent = {
        "on": today().isoformat(), "until": today().isoformat(), "starts_at": "08:00",
        "hours": "8", "safety": "95", "use_within_days": "21",
    }  # fmt: skip
    client.post("/roast-days/add/", sent | more)
    return DayPlan.objects.get()


def test_from_an_order_to_the_machines_list(client: Client, blend: Blend, drum: object) -> None:
    """40 kg half and half at about 16 % loss: some 23.8 kg green each, 2 batches of at most 12."""
    things.order([(blend, 1_000, 40)], due_on=today())
    day = planned(client)
    rows = list(day.batches.all())
    assert [str(row.approach) for row in rows] == ["Washed (medium)"] * 2 + ["Plain (medium)"] * 2
    assert sum(row.expected_g for row in rows) == pytest.approx(40_000, rel=0.04)
    facts = facts_of(day)
    assert day.found["faults"] == []
    page = client.get(f"/roast-days/{day.pk}/").text
    assert "4 batches meet all orders, 40.0 kg roasted" in page
    client.post(f"/roast-days/{day.pk}/send/", {"revision": day.revision})
    assert PlannedBatch.objects.count() == 4
    lot = coffees.lots().get(name="Washed")
    assert lot.promised_g == sum(r.charge_g for r in rows if r.approach.lot_id == lot.pk)
    sheet = client.get(f"/roast-days/{day.pk}/sheet/{rows[0].machine_id}/").text
    for said in ("Roast sheet", "carbon monoxide", "catch fire", "1 bag of 60 kg"):
        assert said in sheet
    assert facts.demand[0].kg == 40


def test_what_is_roasted_already_is_not_roasted_again(
    client: Client, blend: Blend, drum: object
) -> None:
    things.order([(blend, 1_000, 20)], due_on=today())
    approach = Approach.objects.get(lot__name="Washed")
    version = approach.versions.get()
    fresh = {"approach_version": version, "green_g": 12_000, "roasted_g": 10_000}
    things.batch(roasted_at=timezone.now() - dt.timedelta(days=3), **fresh)
    things.batch(roasted_at=timezone.now() - dt.timedelta(days=2), verdict="hold", **fresh)
    things.batch(roasted_at=timezone.now() - dt.timedelta(days=40), **fresh)
    day = planned(client)
    assert facts_of(day).stock_roasted_kg == {"Washed (medium)": 10.0}
    assert {str(row.approach) for row in day.batches.all()} == {"Plain (medium)"}


def test_an_impossible_day_says_what_is_missing_and_the_ways_out(
    client: Client, blend: Blend, drum: object
) -> None:
    """Two hours are six batches of 18 minutes with a change: 100 kg take ten."""
    things.order([(blend, 1_000, 100)], due_on=today(), due_time=dt.time(10, 0))
    day = planned(client)
    assert day.found["status"] == "impossible"
    page = client.get(f"/roast-days/{day.pk}/").text
    assert "Not every order can be met" in page
    assert "Ways out" in page
    assert "min late" in page


def test_a_blend_without_a_recipe_in_service_is_told(client: Client, drum: object) -> None:
    other = things.recipe().blend
    things.order([(other, 1_000, 5)], due_on=today())
    day = planned(client)
    assert "has no recipe in service; 5.0 kg" in client.get(f"/roast-days/{day.pk}/").text


def test_without_a_machine_the_page_says_what_to_do(client: Client, blend: Blend) -> None:
    things.order([(blend, 1_000, 5)], due_on=today())
    day = planned(client)
    assert "There is no machine to roast on" in client.get(f"/roast-days/{day.pk}/").text


def test_a_pinned_batch_stays_and_the_rest_goes_around_it(
    client: Client, blend: Blend, drum: object
) -> None:
    things.order([(blend, 1_000, 40)], due_on=today())
    day = planned(client)
    row = day.batches.first()
    assert row is not None
    address = f"/roast-days/{day.pk}/batches/{row.pk}/pin/"
    client.post(address, {f"b{row.pk}-machine": row.machine_id, f"b{row.pk}-charge_g": "5,5"})
    day.refresh_from_db()
    pinned = day.batches.get(pinned=True)
    assert pinned.charge_g == 5_500
    assert day.found["faults"] == []
    answer = client.post(
        f"/roast-days/{day.pk}/batches/{pinned.pk}/pin/",
        {f"b{pinned.pk}-machine": row.machine_id, f"b{pinned.pk}-charge_g": "99"},
        follow=True,
    )
    assert "no charge for it" in answer.text
    client.post(f"/roast-days/{day.pk}/batches/{pinned.pk}/unpin/")
    assert not day.batches.filter(pinned=True).exists()


def test_a_batch_of_ones_own_is_added_beside_what_orders_need(
    client: Client, blend: Blend, drum: object
) -> None:
    day = planned(client)
    other = things.approach_version(lot=things.lot(name="Other"), charge_g=6_000)
    sent = {
        "add-approach": other.approach_id, "add-machine": drum.pk, "add-charge_g": "6"  # type: ignore[attr-defined]
    }  # fmt: skip
    client.post(f"/roast-days/{day.pk}/batches/add/", sent)
    row = day.batches.get()
    assert (str(row.approach), row.charge_g, row.pinned) == ("Other (omni)", 6_000, True)
    assert row.expected_g < 6_000


def test_green_that_somebody_else_took_meanwhile_is_not_promised_twice(
    client: Client, blend: Blend, drum: object, roaster: Person
) -> None:
    things.order([(blend, 1_000, 40)], due_on=today())
    day = planned(client)
    lot = coffees.lots().get(name="Washed")
    from coupage.web.coffees.actions import reserve

    reserve(purpose="x", wanted_g={lot.pk: lot.free_g}, on=today(), by=roaster, at=timezone.now())
    answer = client.post(f"/roast-days/{day.pk}/send/", {"revision": day.revision}, follow=True)
    assert "0.0 kg are free" in answer.text
    assert not PlannedBatch.objects.exists()


def test_the_second_of_two_who_send_different_plans_is_told(
    client: Client, blend: Blend, drum: object
) -> None:
    things.order([(blend, 1_000, 20)], due_on=today())
    day = planned(client)
    client.post(f"/roast-days/{day.pk}/again/")
    answer = client.post(f"/roast-days/{day.pk}/send/", {"revision": day.revision}, follow=True)
    assert "changed by somebody else" in answer.text
    assert not PlannedBatch.objects.exists()


def roast(row: DayBatch, loss: Decimal, by: Person, minutes: int) -> None:
    at = timezone.make_aware(dt.datetime.combine(row.day.on, row.day.starts_at))
    at += dt.timedelta(minutes=minutes)
    batch = machine_actions.charge(planned=row.planned, by=by, at=at)
    machine_actions.drop(batch=batch, by=by, at=at + dt.timedelta(minutes=11))
    out = round(batch.green_g * (1 - loss))
    machine_actions.weigh(batch=batch, roasted_g=out, by=by, at=at + dt.timedelta(minutes=12))


def test_a_batch_that_lost_too_much_asks_for_one_more(
    client: Client, blend: Blend, drum: object, roaster: Person
) -> None:
    """Of 40 kg ordered, two washed batches give some 20 kg; at 24 % loss some 2 kg of it lack."""
    things.batch(number="R-1", roasted_at=timezone.now() - dt.timedelta(days=50))
    things.order([(blend, 1_000, 40)], due_on=today())
    day = planned(client)
    actions.send_to_machines(day=day, revision=day.revision, by=roaster, at=timezone.now())
    day.refresh_from_db()
    rows = list(day.batches.select_related("planned", "day"))
    begins = timezone.make_aware(dt.datetime.combine(day.on, day.starts_at))
    assert repairing.mend_day(day=day, by=roaster, at=begins) == "The plan stands."
    for n, row in enumerate(rows[:2]):
        roast(row, Decimal("0.24"), roaster, 18 * n)
    now = timezone.make_aware(dt.datetime.combine(day.on, dt.time(8, 40)))
    said = repairing.mend_day(day=day, by=roaster, at=now)
    assert "ne more batch of Washed (medium) on Drum, " in said
    day.refresh_from_db()
    waiting = day.batches.filter(planned__batch__isnull=True, planned__dropped=False)
    assert waiting.count() >= 3
    washed = coffees.lots().get(name="Washed")
    extra = waiting.get(approach__lot=washed.pk)
    assert extra.start_minute >= 40
    assert washed.promised_g == extra.charge_g, "what is charged is not promised any more"
    page = client.get(f"/roast-days/{day.pk}/").text
    assert said in page
    actions.close_day(day=day, by=roaster, at=now)
    assert coffees.lots().get(name="Washed").promised_g == 0
    assert not PlannedBatch.objects.filter(batch__isnull=True, dropped=False).exists()


def test_what_is_taken_back_can_be_planned_anew(client: Client, blend: Blend, drum: object) -> None:
    things.order([(blend, 1_000, 20)], due_on=today())
    day = planned(client)
    client.post(f"/roast-days/{day.pk}/send/", {"revision": day.revision})
    assert "take it back first" in client.post(f"/roast-days/{day.pk}/again/", follow=True).text
    client.post(f"/roast-days/{day.pk}/take-back/")
    assert coffees.lots().get(name="Washed").promised_g == 0
    client.post(f"/roast-days/{day.pk}/again/")
    day.refresh_from_db()
    client.post(f"/roast-days/{day.pk}/send/", {"revision": day.revision})
    assert PlannedBatch.objects.filter(dropped=False).count() == day.batches.count()


def test_a_long_search_is_told_and_stopped_with_the_best_so_far(
    client: Client, blend: Blend, drum: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The search holds still after its first plan until the page has asked to stop."""
    things.order([(blend, 1_000, 20)], due_on=today())
    go_on = threading.Event()
    real = finding.roast_day
    seen: list[RoastDay] = []

    def slow(*args: object, best: object, **more: object) -> RoastDay:
        def told(plan: RoastDay) -> None:
            best(plan)  # type: ignore[operator]
            seen.append(plan)
            go_on.wait(20)

        return real(*args, best=told, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(finding, "roast_day", slow)
    monkeypatch.setattr(finding, "PATIENCE", 0.6)
    written: list[object] = []
    write = finding._write
    # Beside the page another connection would write; in a test there is only this one.
    monkeypatch.setattr(finding, "_write", lambda search, **more: written.append((search, more)))
    day = planned(client)
    page = client.get(f"/roast-days/{day.pk}/").text
    assert "The plan is being worked out" in page
    assert "Stop, and keep the best so far" in page
    search = finding._Search(facts_of(day), day.pk, day.revision, plan=seen[0])
    write(search, under_way=True)
    client.post(f"/roast-days/{day.pk}/stop/")
    write(search)  # what comes after the stop is dropped
    go_on.set()
    day.refresh_from_db()
    assert day.asked_at is None
    assert day.found["stopped"]
    assert day.batches.exists()
    facts = facts_of(day)
    facts_checked = check_plan(
        seen[0].batches, facts.demand, facts.recipes, facts.losses, facts.drums, **facts.arguments()
    )
    assert facts_checked == ()
    with pytest.raises(InputError, match="no search is under way"):
        actions.stop(day=day, by=things.person(), at=timezone.now())


def test_a_viewer_reads_a_plan_and_changes_nothing(
    client: Client, viewer: Person, signed_in: As, blend: Blend, drum: object
) -> None:
    things.order([(blend, 1_000, 20)], due_on=today())
    day = planned(client)
    other = signed_in(viewer)
    assert "Send to the machines" not in other.get(f"/roast-days/{day.pk}/").text
    assert other.post(f"/roast-days/{day.pk}/again/").status_code == 403


def test_the_queries_of_the_list_do_not_grow(client: Client) -> None:
    def more(first: int) -> int:
        for n in range(5):
            on = today() + dt.timedelta(days=first + n)
            DayPlan.objects.create(on=on, until=on)
        with CaptureQueriesContext(connection) as seen:
            assert client.get("/roast-days/").status_code == 200
        return len(seen)

    client.get("/roast-days/")
    assert more(0) == more(5)


def test_bags_and_blend_that_are_ready_are_not_roasted_again(
    client: Client, blend: Blend, drum: object
) -> None:
    """Of 40 kg ordered 10 bags of a kilogram are packed, of which 4 wait for a packed order, and
    6 kg lie loose: 28 kg are left to roast."""
    from tests.web.production import making

    things.order([(blend, 1_000, 40)], due_on=today())
    things.order([(blend, 1_000, 4)], due_on=today(), state="packed")
    recipe = blend.recipes.get()
    batches = [making.batch_of(recipe, place) for place in (0, 1)]
    run = making.run(dict.fromkeys(batches, 8_000), of=recipe)
    making.packed(run, 10, 1_000)
    facts = facts_of(DayPlan.objects.create(on=today(), until=today()))
    assert [order.kg for order in facts.demand] == [34.0]
    assert facts.stock_roasted_kg[blend.name] == pytest.approx(6.0)


def test_numbers_of_a_day_and_a_letter_go_on_today(roaster: Person) -> None:
    from coupage.web.batches.queries import next_number

    things.batch(number="260309b")
    day = f"{today():%y%m%d}"
    assert next_number() == f"{day}a"
    things.batch(number=f"{day}a", roasted_at=timezone.now())
    assert next_number() == f"{day}b"
