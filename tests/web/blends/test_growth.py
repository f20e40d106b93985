"""Pages cost no more queries when there is more to show."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from coupage.web.blends.models import Blend
from tests.web import things
from tests.web.blends.conftest import Tasted

pytestmark = pytest.mark.django_db


def served_recipe(coffees: Tasted, blend: Blend) -> None:
    things.recipe(
        {coffees.low: 600_000, coffees.high: 400_000},
        blend=blend,
        state="in service",
        in_service_from=things.NOW.date(),
        approved_by=things.person(),
        approved_at=things.NOW,
    )


def queries(client: Client, address: str) -> int:
    client.get(address)  # what is fitted once and remembered does not count
    with CaptureQueriesContext(connection) as made:
        assert client.get(address).status_code == 200
    return len(made)


def held(client: Client, address: str, grow: Callable[[], object]) -> None:
    for _ in range(10):
        grow()
    before = queries(client, address)
    for _ in range(10):
        grow()
    assert queries(client, address) == before


def test_the_list_of_briefs(client: Client) -> None:
    held(client, "/briefs/", things.brief)


def test_the_list_of_blends(tasted: Tasted, client: Client) -> None:
    brief = things.brief([{"attribute": tasted.body, "kind": "at least", "low": 5, "must": True}])

    def grow() -> None:
        number = Blend.objects.count()
        served_recipe(tasted, Blend.objects.create(name=f"Blend no. {number}", brief=brief))

    held(client, "/blends/", grow)


def test_one_brief_with_many_blends(tasted: Tasted, client: Client) -> None:
    brief = things.brief([{"attribute": tasted.body, "kind": "at least", "low": 5, "must": True}])

    def grow() -> None:
        number = Blend.objects.count()
        served_recipe(tasted, Blend.objects.create(name=f"Blend no. {number}", brief=brief))

    held(client, f"/briefs/{brief.pk}/", grow)


def test_one_blend_with_many_recipes(tasted: Tasted, client: Client) -> None:
    brief = things.brief([{"attribute": tasted.body, "kind": "at least", "low": 5, "must": True}])
    blend = Blend.objects.create(name="Ferry", brief=brief)
    held(
        client,
        f"/blends/{blend.pk}/",
        lambda: things.recipe({tasted.low: 600_000, tasted.high: 400_000}, blend=blend),
    )


def test_one_recipe_with_many_sisters(tasted: Tasted, client: Client) -> None:
    blend = Blend.objects.create(name="Ferry")
    served_recipe(tasted, blend)
    recipe = things.recipe({tasted.low: 1_000_000}, blend=blend)
    held(
        client,
        f"/blends/recipes/{recipe.pk}/",
        lambda: things.recipe({tasted.low: 600_000, tasted.high: 400_000}, blend=blend),
    )


def test_choosing_among_many_blends_in_service(tasted: Tasted, client: Client) -> None:
    brief = things.brief([{"attribute": tasted.body, "kind": "at least", "low": 5, "must": True}])

    def grow() -> None:
        number = Blend.objects.count()
        served_recipe(tasted, Blend.objects.create(name=f"Blend no. {number}", brief=brief))

    held(client, f"/briefs/{brief.pk}/choose/", grow)


def test_weighing_with_many_batches(coffees: Tasted, client: Client) -> None:
    recipe = things.recipe({coffees.low: 600_000, coffees.high: 400_000})
    version = coffees.low.versions.get()
    held(
        client,
        f"/blends/recipes/{recipe.pk}/weighing/?total=10&loads=1&resolution=10",
        lambda: things.batch(approach_version=version),
    )
