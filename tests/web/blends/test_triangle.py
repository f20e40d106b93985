"""The blend triangle's page: which coffees, which points, and recipes written in an address."""

from __future__ import annotations

import base64
import json

import numpy as np
import pytest
from django.test import Client

from coupage.errors import InputError
from coupage.web.blends.models import Brief, Recipe
from coupage.web.blends.written import read_recipe, write_recipe
from coupage.web.coffees.models import StockEntry
from coupage.web.cuppings.models import Sample
from tests.web import things
from tests.web.blends.conftest import Four, Tasted

pytestmark = pytest.mark.django_db


def data_of(client: Client, path: str) -> dict[str, object]:
    found: dict[str, object] = client.get(path).context["page"].data
    return found


def test_a_recipe_is_read_back_from_an_address_to_the_last_part(four: Four) -> None:
    first, second, third, _ = four.approaches
    shares = {first: 333_333, second: 333_333, third: 333_334}
    assert read_recipe(write_recipe(shares)) == shares
    assert list(read_recipe(write_recipe(shares))) == [first, second, third]
    assert write_recipe({first: 455_000, second: 545_000}) == f"{first.pk}-45,5.{second.pk}-54,5"
    assert read_recipe("") == {}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("{0}-50", "add up to 50 %"),
        ("{0}-50.999999-50", "is gone"),
        ("rubbish", "holds no recipe"),
        ("{0}-50,12345.{1}-50", "holds no recipe"),
        ("{0}-٥٠.{1}-50", "holds no recipe"),
    ],
)
def test_a_link_that_is_no_recipe_is_explained_and_the_triangle_still_stands(
    text: str, says: str, four: Four, client: Client
) -> None:
    text = text.format(*(a.pk for a in four.approaches))
    with pytest.raises(InputError, match=says):
        read_recipe(text)
    page = client.get(f"/briefs/{four.brief.pk}/triangle/?r={text}")
    assert "Another recipe is shown" in page.text
    assert page.context["page"].data["shares"] == [450_000, 350_000, 200_000]


def test_it_begins_with_the_recipe_in_service_and_its_coffees(four: Four, client: Client) -> None:
    page = client.get(f"/briefs/{four.brief.pk}/triangle/").context["page"]
    assert [c["key"] for c in page.data["coffees"]] == [a.pk for a in four.approaches[:3]]
    assert page.data["shares"] == [450_000, 350_000, 200_000]
    kinds = [(p["kind"], p["name"]) for p in page.data["points"]]
    assert ("service", "Ferry, version 1") in kinds


def test_only_what_was_cupped_of_these_coffees_stands_on_it(four: Four, client: Client) -> None:
    three = data_of(client, f"/briefs/{four.brief.pk}/triangle/")
    cupped = [p["shares"] for p in three["points"] if p["kind"] == "cupped"]  # type: ignore[attr-defined]
    # Three straight coffees and both blends; the fourth coffee is not on this triangle.
    assert len(cupped) == 5
    assert [400_000, 350_000, 250_000] in cupped
    again = things.sample(
        {part.batch: part.share_ppm for part in Sample.objects.last().parts.all()}
    )  # type: ignore[union-attr]
    things.cupping(samples=[again, things.sample()], state="open")
    still = data_of(client, f"/briefs/{four.brief.pk}/triangle/")
    assert still["points"] == three["points"], "a table under way must not show"


def test_the_posterior_that_is_sent_is_the_one_that_is_believed(four: Four, client: Client) -> None:
    from coupage.web.cuppings.beliefs import beliefs_now

    data = data_of(client, four.path)
    body = next(a for a in data["attributes"] if a["name"] == "body")  # type: ignore[attr-defined]
    beliefs = beliefs_now()
    assert beliefs is not None
    mixture = beliefs.restrict([str(a) for a in four.approaches]).mixture("body")
    weights = np.frombuffer(base64.b64decode(body["weights"]), "<f8")
    means = np.frombuffer(base64.b64decode(body["means"]), "<f8").reshape(body["parts"], -1)
    assert (weights == mixture.weights).all()
    assert (means[:, :4] == mixture.means[:, :4]).all()
    assert json.dumps(data)


def test_stock_of_two_approaches_is_one_lots_and_its_loss_is_taken_off(
    four: Four, client: Client
) -> None:
    first, second, *_ = four.approaches
    other = things.approach_version(lot=first.lot, name="long").approach
    things.batch(approach_version=other.versions.get(), green_g=12_000, roasted_g=10_200)
    StockEntry.objects.create(lot=first.lot, kind="count", mass_g=-76_000, on=things.NOW.date())
    recipe = write_recipe({first: 300_000, other: 300_000, second: 400_000})
    found = client.get(f"/briefs/{four.brief.pk}/triangle/figures/?r={recipe}").json()["recipes"][0]
    # 300 kg less 24 in the drum less 76; every batch loses 15 %, so the estimate is 15 %.
    assert found["makes"] == pytest.approx(200 * 0.85 / 0.6, rel=1e-3)
    assert found["endsFirst"] == "First"


def test_rubbish_asked_of_the_figures_is_refused_with_a_reason(four: Four, client: Client) -> None:
    for query in ("", "?r=", "?r=rubbish", f"?r={four.approaches[0].pk}-50"):
        answer = client.get(f"/briefs/{four.brief.pk}/triangle/figures/{query}")
        assert answer.status_code == 400, query
        assert answer.json()["problem"], query


def test_what_stands_in_the_way_of_a_triangle_is_said(tasted: Tasted, client: Client) -> None:
    brief = things.brief()
    text = client.get(f"/briefs/{brief.pk}/triangle/").text
    assert "A triangle takes 3 to 8 coffees" in text
    Brief.objects.filter(pk=brief.pk).delete()


def test_before_anything_was_cupped_it_says_what_to_do(coffees: Tasted, client: Client) -> None:
    text = client.get(f"/briefs/{things.brief().pk}/triangle/").text
    assert "hold a table with these coffees and reveal it" in text


def test_a_refused_save_comes_back_to_the_same_recipe(four: Four, client: Client) -> None:
    recipe = write_recipe({four.approaches[0]: 600_000, four.approaches[1]: 400_000})
    sent = {"shares": "", "blend": "", "from": "triangle", "r": recipe}
    answer = client.post(f"/briefs/{four.brief.pk}/take/", sent)
    assert (
        answer.headers["Location"]
        == f"/briefs/{four.brief.pk}/triangle/?r={recipe.replace(',', '%2C')}"
    )
    assert Recipe.objects.count() == 1
