"""The pages of production: for whom, what they say, and that their queries do not grow."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from coupage.web.blends.models import Recipe
from coupage.web.people.models import Person
from coupage.web.production import queries
from coupage.web.production.models import Dispatch, Pack, PackingRules, Run
from tests.web import things
from tests.web.conftest import As
from tests.web.production import making

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(roaster: Person, signed_in: As) -> Client:
    return signed_in(roaster)


def serving(*shares: int) -> Recipe:
    """A recipe in service, with one released batch of each coffee, eight days old."""
    recipe = making.recipe(*shares)
    served = {
        "state": "in service",
        "in_service_from": things.NOW.date(),
        "approved_by": things.person(),
        "approved_at": things.NOW,
    }
    Recipe.objects.filter(pk=recipe.pk).update(**served)
    for place in range(len(shares)):
        making.batch_of(
            recipe,
            place,
            verdict="release",
            roasted_at=timezone.now() - dt.timedelta(days=8),
            roasted_g=10_000,
        )
    recipe.refresh_from_db()
    return recipe


def asked(recipe: Recipe, **more: Any) -> dict[str, Any]:
    return {
        "recipe": recipe.pk,
        "total": "12",
        "blender": "6",
        "step": "10",
        "on": timezone.localdate().isoformat(),
    } | more


def test_a_run_goes_from_plan_to_customer_by_its_pages(client: Client) -> None:
    recipe = serving(60, 40)
    pack = making.pack(recipe.blend)
    page = client.get("/production/runs/add/", asked(recipe))
    assert "2 lifts" in page.text
    assert "3.600 kg for each lift" in page.text
    batches = [part.candidates[0].batch.pk for part in page.context["page"].components]
    client.post("/production/runs/add/", asked(recipe, ticked="1", batch=batches))
    run = Run.objects.get()
    at = f"/production/runs/{run.pk}/"
    assert "Lift 1 is next" in client.get(at).text

    parts = list(run.parts.all())
    refused = client.post(f"{at}weigh/1/", {f"part-{parts[0].pk}": "3,6 t"})
    assert refused.status_code == 422
    assert "3,6 t" in refused.text
    typed = {f"part-{parts[0].pk}": "3 590", f"part-{parts[1].pk}": "2400"}
    client.post(f"{at}weigh/1/", typed)
    client.post(f"{at}weigh/2/", {"as_planned": "1"})
    assert queries.runs().get().in_g == 11_990
    assert "All lifts are weighed" in client.get(at).text

    samples = {"approach": recipe.shares.all()[0].approach_id, "sample_g": "100", "bean_mg": "130"}
    assert client.post(f"{at}mixing/", samples | {"shares": "60 x"}).status_code == 422
    client.post(f"{at}mixing/", samples | {"shares": "60 58,5 61"})
    assert "No sign that it is unmixed" in client.get(at).text
    client.post(f"{at}mixing/", samples | {"shares": "90 30 60"})
    assert "Mix longer" in client.get(at).text

    client.post(f"{at}pack/", {"pack": pack.pk, "bags": "40"})
    refused = client.post(f"{at}pack/", {"pack": pack.pk, "bags": "40"})
    assert "are loose" in refused.text
    refused = client.post(f"{at}close/", {"left": "1", "lost": "0"})
    assert "0.990 kg are missing" in refused.text
    client.post(f"{at}close/", {"left": "1,95", "lost": "0.04"})
    assert Run.objects.get().state == "closed"

    row = run.packed.get()
    sent = {"customer": making.customer(name="Harbour Counter").pk, f"bags-{row.pk}": "15"}
    sent |= {"on": timezone.localdate().isoformat()}
    client.post("/production/dispatches/add/", sent)
    assert (
        "Harbour Counter has 15 bags"
        in client.get(f"/production/dispatches/{Dispatch.objects.get().pk}/").text
    )
    found = client.get("/production/trace/", {"code": f"L {run.lot_code}"}, follow=True).text
    assert "15 bags with it" in found
    assert "Harbour Counter" in found


def test_a_share_past_the_tolerance_is_said(client: Client) -> None:
    recipe = serving(60, 40)
    a, b = (making.batch_of(recipe, n) for n in (0, 1))
    run = making.run({a: 6_300, b: 3_700}, of=recipe)
    text = client.get(f"/production/runs/{run.pk}/").text
    assert "63.00 %" in text
    assert "+3.00 points" in text
    assert "Past the tolerance" in text
    PackingRules.objects.update(tolerance_ppm=30_000)
    assert "Past the tolerance" not in client.get(f"/production/runs/{run.pk}/").text


def test_what_is_held_or_out_of_its_window_is_not_proposed(client: Client) -> None:
    recipe = serving(100)
    old = making.batch_of(
        recipe, roasted_at=timezone.now() - dt.timedelta(days=40), verdict="release"
    )
    held = making.batch_of(recipe, roasted_at=timezone.now() - dt.timedelta(days=9), verdict="hold")
    young = making.batch_of(recipe, roasted_at=timezone.now(), verdict="release")
    unjudged = making.batch_of(recipe, roasted_at=timezone.now() - dt.timedelta(days=3))
    page = client.get("/production/runs/add/", asked(recipe)).context["page"]
    rows = {row.batch.pk: row for row in page.components[0].candidates}
    assert {pk for pk, row in rows.items() if row.ticked} == {
        pk for pk in rows if pk not in {old.pk, held.pk, young.pk, unjudged.pk}
    }
    assert [rows[b.pk].note for b in (old, held, young, unjudged)] == [
        "past day 21",
        "on hold",
        "rests until day 1",
        "not judged yet",
    ]
    assert page.short.startswith("2.000 kg of")
    ticked = asked(recipe, ticked="1", batch=[*rows])
    again = client.get("/production/runs/add/", ticked).context["page"]
    assert again.ready
    assert {draw.source.pk for draw in again.plan.draws} == {
        row.batch.pk for row in rows.values() if row.planned_g or row.batch.pk == old.pk
    }
    refused = client.post("/production/runs/add/", asked(recipe))
    assert refused.status_code == 422
    assert not Run.objects.exists()


def test_an_order_is_filled_from_what_keeps_the_shortest(client: Client) -> None:
    run = making.run({things.batch(roasted_g=10_000): 10_000})
    row = making.packed(run, 10)
    customer = making.customer()
    order = things.order(customer=customer)
    line = order.lines.get()
    line.blend, line.bag_g, line.bags = run.recipe.blend, 250, 12
    line.save()
    page = client.get(f"/production/dispatches/add/?order={order.pk}")
    assert page.context["form"].initial[f"bags-{row.pk}"] == 10
    assert "Missing: 2 × 250 g" in page.text


def test_a_lot_and_everything_it_is_in_can_be_held_at_once(client: Client) -> None:
    batch = things.batch(roasted_g=10_000)
    recipe = making.recipe(100)
    first = making.run({batch: 4_000}, of=recipe)
    second = making.run({first: 1_000, batch: 2_000}, of=recipe)
    lot = batch.approach_version.approach.lot
    address = f"/production/trace/lot/{lot.pk}/"
    client.post(f"{address}hold/", {"reason": ""})
    assert not Run.objects.filter(held=True).exists()
    client.post(f"{address}hold/", {"reason": "Stones found"})
    assert set(Run.objects.filter(held=True)) == {first, second}
    assert "Stones found" in client.get(f"/production/runs/{first.pk}/").text
    client.post(f"/production/runs/{first.pk}/release/", {"reason": "Sieved"})
    assert Run.objects.get(held=True) == second


def test_the_ledgers_pages_take_a_line_and_say_what_is_wrong(client: Client) -> None:
    batch = things.batch(roasted_g=5_000)
    address = f"/production/roasted/{batch.pk}/"
    day = timezone.localdate().isoformat()
    refused = client.post(
        f"{address}enter/", {"kind": "wasted", "mass": "6", "on": day, "reason": "burnt"}
    )
    assert "Only 5.000 kg" in refused.text
    client.post(f"{address}enter/", {"kind": "tasted", "mass": "0,2", "on": day})
    assert "4.800 kg of 5.000 kg are on hand" in client.get(address).text
    row = making.packed(making.run({batch: 4_000}), 10)
    address = f"/production/bags/{row.pk}/"
    client.post(f"{address}enter/", {"kind": "wasted", "bags": "2", "on": day, "reason": "torn"})
    assert "8 bags stand on the shelf" in client.get(address).text


@pytest.mark.parametrize(
    "path",
    ["", "bags/", "dispatches/", "roasted/", "runs/add/?{plan}", "trace/lot/{lot}/"],
)
def test_no_page_asks_more_for_more_rows(client: Client, path: str) -> None:
    recipe = serving(100)
    batch = making.batch_of(recipe, roasted_g=9_000, verdict="release")
    plan = "&".join(f"{k}={v}" for k, v in asked(recipe).items())
    filled = path.format(plan=plan, lot=batch.approach_version.approach.lot_id)
    by = things.person()

    def grow() -> None:
        for _ in range(3):
            run = making.run({batch: 500}, of=recipe, by=by)
            making.sent(making.customer(), {making.packed(run, 1, by=by): 1}, by)
            making.batch_of(recipe, verdict="release")

    def count() -> int:
        with CaptureQueriesContext(
            connection,
        ) as seen:
            assert client.get(f"/production/{filled}").status_code == 200
        return len(seen)

    grow()
    count()
    few = count()
    grow()
    assert count() == few


def test_a_viewer_reads_and_changes_nothing(viewer: Person, signed_in: As) -> None:
    run = making.run({things.batch(): 4_000})
    row = making.packed(run, 4)
    client = signed_in(viewer)
    for path in ("", f"runs/{run.pk}/", f"runs/{run.pk}/sheet/", f"bags/{row.pk}/", "sizes/"):
        page = client.get(f"/production/{path}")
        assert page.status_code == 200
        assert 'method="post"' not in page.text.replace(
            'action="/people/sign-out/" method="post"', ""
        ).replace('method="post" action="/people/sign-out/"', ""), path


def test_sizes_and_rules_are_kept_and_faults_named(client: Client) -> None:
    blend = things.recipe().blend
    size = {"blend": blend.pk, "bag_g": "250", "gtin": "6291041500213", "per_box": "12"}
    wrong = client.post("/production/sizes/add/", size | {"gtin": "6291041500231"})
    assert "the last digit would be" in wrong.text
    client.post("/production/sizes/add/", size)
    assert Pack.objects.get().gtin == "06291041500213"
    rules = {
        "lot_pattern": "{month}{day}{yy}-{run}",
        "best_before_days": "365",
        "rest_days": "2",
        "use_within_days": "14",
        "blender_g": "30",
        "step_g": "5",
        "tolerance_ppm": "0,5",
        "missing_ppm": "1",
        "link_base": "https://coffee.example/",
    }
    wrong = client.post("/production/rules/", rules)
    assert "put {day} before {month}" in wrong.text.lower()
    client.post("/production/rules/", rules | {"lot_pattern": "{day}{month}{yy}-{run}"})
    kept = queries.rules()
    assert (kept.blender_g, kept.step_g, kept.letter_l) == (30_000, 5, False)
