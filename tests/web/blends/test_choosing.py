"""Choosing: the brief is answered, or it is said what stands in the way."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise

import pytest
from django.test import Client

from coupage.web.blends.models import Blend, Brief, Recipe
from coupage.web.coffees.models import Lot, StockEntry
from coupage.web.people.models import Person
from tests.web import things
from tests.web.blends.conftest import Tasted
from tests.web.conftest import As

pytestmark = pytest.mark.django_db


@pytest.fixture
def brief(tasted: Tasted) -> Brief:
    """Body between the two coffees: only a blend will do."""
    return things.brief(
        [{"attribute": tasted.body, "kind": "between", "low": 4, "high": 6, "must": True}],
        name="Between",
    )


def chosen(client: Client, brief: Brief, query: str = "") -> object:
    return client.get(f"/briefs/{brief.pk}/choose/{query}").context["page"]


def test_the_best_recipe_is_the_one_that_the_tastes_call_for(
    brief: Brief, tasted: Tasted, client: Client
) -> None:
    page = chosen(client, brief)
    # Bodies of 7.5 and 2.5 make 5, the middle of 4 to 6, in halves (linear blending).
    best = dict(page.lines[0].shares)  # type: ignore[attr-defined]
    assert abs(best[tasted.low.pk] - 500_000) <= 50_000
    assert sum(best.values()) == 1_000_000
    assert page.sentence.startswith(  # type: ignore[attr-defined]
        tuple(f"{share} %" for share in (45, 50, 55))
    )
    chances = [float(line.chance.removesuffix(" %")) for line in page.lines]  # type: ignore[attr-defined]
    assert all(a >= b for a, b in pairwise(chances))
    assert page.lines[0].weakest.startswith("body between 4 and 6")  # type: ignore[attr-defined]


def test_a_finer_step_offers_recipes_between(brief: Brief, tasted: Tasted, client: Client) -> None:
    page = chosen(client, brief, f"?step=1&coffees={tasted.low.pk}&coffees={tasted.high.pk}")
    shares = {ppm for line in page.lines for _, ppm in line.shares}  # type: ignore[attr-defined]
    assert any(ppm % 50_000 for ppm in shares)
    assert "step of 1 %" in page.how  # type: ignore[attr-defined]


def test_only_ticked_coffees_are_looked_at(brief: Brief, tasted: Tasted, client: Client) -> None:
    page = chosen(client, brief, f"?step=5&coffees={tasted.low.pk}")
    assert [dict(line.shares) for line in page.lines] == [{tasted.low.pk: 1_000_000}]  # type: ignore[attr-defined]


def test_what_is_used_up_is_left_out_unless_it_is_asked_for(
    brief: Brief, tasted: Tasted, client: Client
) -> None:
    lot = Lot.objects.get(name="High Field")
    StockEntry.objects.create(lot=lot, kind="sold", mass_g=-288_000, on=things.NOW.date())
    found = {key for line in chosen(client, brief).lines for key, _ in line.shares}  # type: ignore[attr-defined]
    assert found == {tasted.low.pk}
    page = chosen(client, brief, "?step=5")
    found = {key for line in page.lines for key, _ in line.shares}  # type: ignore[attr-defined]
    assert found == {tasted.low.pk, tasted.high.pk}


def test_limits_that_clash_are_named(brief: Brief, client: Client) -> None:
    Brief.objects.update(cost_cap=Decimal("1.00"))
    text = client.get(f"/briefs/{brief.pk}/choose/").text
    assert "No recipe keeps all limits." in text
    assert "These limits clash" in text
    assert "cost" in text


def test_a_cost_cap_without_prices_says_which_price_is_missing(
    brief: Brief, client: Client
) -> None:
    Brief.objects.update(cost_cap=Decimal("8.00"))
    Lot.objects.filter(name="High Field").update(price_per_kg=None)
    text = client.get(f"/briefs/{brief.pk}/choose/").text
    assert "there is no price for High Field (omni)" in text
    assert "The brief has a cost cap" in text


def test_a_cost_cap_is_kept(brief: Brief, client: Client) -> None:
    # Green at 4 and 9 over a yield of 85 %: the halves cost 7.65, so a cap of 6.50 leans to 4.
    Brief.objects.update(cost_cap=Decimal("6.50"))
    page = chosen(client, brief)
    costs = [float(line.cost.split()[0]) for line in page.lines]  # type: ignore[attr-defined]
    assert costs
    assert max(costs) <= 6.5


def test_without_prices_and_cap_the_chance_is_still_said(brief: Brief, client: Client) -> None:
    Lot.objects.update(price_per_kg=None)
    page = chosen(client, brief)
    assert page.lines[0].cost == "–"  # type: ignore[attr-defined]
    assert page.front == ()  # type: ignore[attr-defined]


def test_before_anything_was_cupped_it_says_what_to_do(coffees: Tasted, client: Client) -> None:
    brief = things.brief()
    text = client.get(f"/briefs/{brief.pk}/choose/").text
    assert "No recipe can be chosen yet." in text
    assert "hold a table with these coffees and reveal it" in text


def test_an_attribute_that_nobody_rated_is_named(brief: Brief, client: Client) -> None:
    other = things.brief(
        [{"attribute": things.attribute("smoke"), "kind": "at most", "high": 2, "must": True}]
    )
    assert "smoke" in client.get(f"/briefs/{other.pk}/choose/").text
    assert "No recipe can be chosen yet." in client.get(f"/briefs/{other.pk}/choose/").text


def test_no_coffee_left_to_choose_from_is_said(brief: Brief, client: Client) -> None:
    Lot.objects.update(archived=True)
    assert "No coffee is left to choose from" in client.get(f"/briefs/{brief.pk}/choose/").text


def test_rubbish_in_the_address_is_explained_and_nothing_breaks(
    brief: Brief, client: Client
) -> None:
    for query in ("?step=0", "?step=abc", "?step=5&coffees=99999", "?step=5&coffees=%00"):
        page = client.get(f"/briefs/{brief.pk}/choose/{query}")
        assert page.status_code == 200, query
        assert page.context["form"].errors, query


def test_what_to_taste_next_is_asked_with_this_brief_and_these_coffees(
    brief: Brief, tasted: Tasted, client: Client
) -> None:
    page = chosen(client, brief)
    assert page.worth.startswith("Tasting more ")  # type: ignore[attr-defined]
    plan = client.get(f"/trials/add/?{page.taste}").context["screen"]  # type: ignore[attr-defined]
    assert plan.form["brief"].value() == brief.pk
    assert plan.form["purpose"].value() == "decision"
    ticked = {row.approach.pk for row in plan.coffees if row["picked"].value()}
    assert ticked == {tasted.low.pk, tasted.high.pk}
    # Certain of what is wanted, tasting more changes nothing.
    sure = things.brief([{"attribute": tasted.body, "kind": "at most", "high": 10, "must": True}])
    assert "would no longer change the choice" in chosen(client, sure).worth  # type: ignore[attr-defined]


def test_a_choice_becomes_the_next_trial_of_a_blend(
    brief: Brief, tasted: Tasted, client: Client
) -> None:
    blend = Blend.objects.create(name="Ferry", brief=brief)
    sent = f"{tasted.low.pk}:550000,{tasted.high.pk}:450000"
    answer = client.post(f"/briefs/{brief.pk}/take/?step=5", {"blend": blend.pk, "shares": sent})
    recipe = Recipe.objects.get()
    assert answer.headers["Location"] == f"/blends/recipes/{recipe.pk}/"
    assert (recipe.state, recipe.reason) == ("trial", "Chosen for the brief Between.")
    assert [s.share_ppm for s in recipe.shares.all()] == [550_000, 450_000]


@pytest.mark.parametrize(
    ("shares", "says"),
    [
        ("", "Choose a recipe of the list first"),
        ("{low}:550000,{high}:440000", "The shares add up to 99 %"),
        ("999999:1000000", "Choose a recipe of the list first"),
        ("{low}:-1,{high}:1000001", "must add up to 100 %"),
        ("rubbish", "Choose a recipe of the list first"),
    ],
)
def test_a_choice_that_was_tampered_with_is_refused(
    shares: str, says: str, brief: Brief, tasted: Tasted, client: Client
) -> None:
    blend = Blend.objects.create(name="Ferry")
    sent = shares.format(low=tasted.low.pk, high=tasted.high.pk)
    answer = client.post(
        f"/briefs/{brief.pk}/take/?step=5", {"blend": blend.pk, "shares": sent}, follow=True
    )
    assert says in answer.text
    assert answer.redirect_chain[0][0] == f"/briefs/{brief.pk}/choose/?step=5"
    assert not Recipe.objects.exists()


@pytest.mark.parametrize("blend", ["", "999999", "x", "-1", "9" * 40])
def test_a_choice_for_no_blend_is_refused(
    blend: str, brief: Brief, tasted: Tasted, client: Client
) -> None:
    sent = {"blend": blend, "shares": f"{tasted.low.pk}:1000000"}
    answer = client.post(f"/briefs/{brief.pk}/take/", sent, follow=True)
    assert "Choose the blend that the recipe is for" in answer.text
    assert not Recipe.objects.exists()


def test_a_viewer_sees_the_answer_and_cannot_take_it(
    brief: Brief, tasted: Tasted, viewer: Person, signed_in: As
) -> None:
    blend, client = Blend.objects.create(name="Ferry"), signed_in(viewer)
    page = client.get(f"/briefs/{brief.pk}/choose/")
    assert "is on brief with a chance of" in page.text
    assert "Make it a trial" not in page.text
    sent = {"blend": blend.pk, "shares": f"{tasted.low.pk}:1000000"}
    assert client.post(f"/briefs/{brief.pk}/take/", sent).status_code == 403
    assert not Recipe.objects.exists()


def test_a_stranger_sees_nothing(roastery: object) -> None:
    assert Client().get(f"/briefs/{things.brief().pk}/choose/").status_code == 302
