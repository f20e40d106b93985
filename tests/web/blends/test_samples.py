"""A sample for the table is weighed from real batches, and its cuppings count as the recipe's."""

from __future__ import annotations

import pytest
from django.test import Client

from coupage.web.blends.models import RecipeSample
from coupage.web.cuppings.models import Sample
from coupage.web.people.models import Change, Person
from tests.web import things
from tests.web.blends.conftest import Tasted
from tests.web.conftest import As

pytestmark = pytest.mark.django_db


def test_a_trial_is_made_from_the_newest_usable_batch_of_each_coffee(
    coffees: Tasted, client: Client
) -> None:
    newer = things.batch(
        approach_version=coffees.low.versions.get(), number="L-2", roasted_at=things.NOW
    )
    things.batch(
        approach_version=coffees.low.versions.get(),
        number="L-3",
        roasted_at=things.NOW,
        verdict="hold",
    )
    recipe = things.recipe({coffees.low: 650_000, coffees.high: 350_000})
    client.post(f"/blends/recipes/{recipe.pk}/sample/", {"label": "Ferry v1"})
    sample = Sample.objects.get()
    parts = {p.batch.number: p.share_ppm for p in sample.parts.select_related("batch")}
    assert parts == {newer.number: 650_000, "H-1": 350_000}
    assert (sample.kind, sample.sealed, sample.label) == ("trial", True, "Ferry v1")
    assert RecipeSample.objects.get().recipe == recipe
    assert Change.objects.get(kind="cuppings.sample").verb.startswith("made by")


def test_a_coffee_without_a_usable_batch_is_named(coffees: Tasted, client: Client) -> None:
    coffees.high.versions.get().batches.update(verdict="hold")
    recipe = things.recipe({coffees.low: 650_000, coffees.high: 350_000})
    text = client.post(f"/blends/recipes/{recipe.pk}/sample/", {"label": "Ferry"}).text
    assert "There is no batch of High Field (omni) to weigh from; roast one first." in text
    assert not Sample.objects.exists()


def test_a_label_is_given_once_also_when_the_button_is_pressed_twice(
    coffees: Tasted, client: Client
) -> None:
    recipe = things.recipe({coffees.low: 1_000_000})
    address = f"/blends/recipes/{recipe.pk}/sample/"
    assert client.post(address, {"label": "Ferry"}).status_code == 302
    assert "label" in client.post(address, {"label": "Ferry"}).context["form"].errors
    assert client.post(address, {"label": ""}).context["form"].errors
    assert Sample.objects.count() == 1


def test_making_samples_is_work(coffees: Tasted, viewer: Person, signed_in: As) -> None:
    recipe = things.recipe({coffees.low: 1_000_000})
    address = f"/blends/recipes/{recipe.pk}/sample/"
    assert signed_in(viewer).post(address, {"label": "Ferry"}).status_code == 403
    assert Client().post(address, {"label": "Ferry"}).status_code == 302
    assert not Sample.objects.exists()
