"""Recipes: proportions that add up, two editors, and a life from trial to retirement."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.test import Client

from coupage.web.blends.models import Blend, Recipe
from coupage.web.people.models import Change, Person
from tests.web import things
from tests.web.blends.conftest import Tasted, recipe_form
from tests.web.conftest import As

pytestmark = pytest.mark.django_db


@pytest.fixture
def blend(db: None) -> Blend:
    return Blend.objects.create(name="Ferry")


def shares_of(recipe: Recipe) -> dict[str, int]:
    return {s.approach.lot.name: s.share_ppm for s in recipe.shares.select_related("approach__lot")}


def test_a_roaster_writes_a_recipe_which_is_a_trial(
    coffees: Tasted, blend: Blend, client: Client, roaster: Person
) -> None:
    sent = recipe_form([(coffees.low, "65"), (coffees.high, "35"), (None, "")], reason="to begin")
    answer = client.post(f"/blends/{blend.pk}/recipes/add/", sent)
    recipe = Recipe.objects.get()
    assert answer.headers["Location"] == f"/blends/recipes/{recipe.pk}/"
    assert (recipe.version, recipe.state, recipe.sealed) == (1, "trial", True)
    assert recipe.made_by == roaster
    assert shares_of(recipe) == {"Low Ground": 650_000, "High Field": 350_000}


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        (["60", "39"], "The shares must add up to 100 %; 1 % are missing."),
        (["60", "41,5"], "The shares must add up to 100 %; 1.5 % are too much."),
        (["33.3333", "66.6666"], "The shares must add up to 100 %; 0.0001 % are missing."),
    ],
)
def test_a_recipe_of_99_per_cent_is_refused_with_what_is_missing(
    typed: list[str], says: str, coffees: Tasted, blend: Blend, client: Client
) -> None:
    sent = recipe_form(list(zip((coffees.low, coffees.high), typed, strict=True)))
    answer = client.post(f"/blends/{blend.pk}/recipes/add/", sent)
    assert says in answer.text
    assert not Recipe.objects.exists()
    assert all(f'value="{share}"' in answer.text for share in typed), "what was typed stays"


def test_other_impossible_proportions_are_explained(
    coffees: Tasted, blend: Blend, client: Client
) -> None:
    low, high = coffees.low, coffees.high
    wrong: list[tuple[list[tuple[Any, str]], str]] = [
        ([(low, "50"), (low, "50")], "Low Ground (omni) stands here twice"),
        ([(None, "100")], "Choose the coffee that has this share."),
        ([(low, ""), (high, "100")], "Give its share, above 0 %; or empty the row."),
        ([(low, "0"), (high, "100")], "Give its share, above 0 %; or empty the row."),
        ([(low, "-10"), (high, "110")], "must be at least 0 %"),
        ([(low, "half")], "not a number"),
        ([(None, "")], "Choose at least one coffee and give its share."),
    ]
    for shares, says in wrong:
        text = client.post(f"/blends/{blend.pk}/recipes/add/", recipe_form(shares)).text
        assert says in text.replace("&#x27;", "'"), shares
    assert not Recipe.objects.exists()


def test_a_form_whose_rows_were_tampered_with_is_refused_calmly(
    coffees: Tasted, blend: Blend, client: Client
) -> None:
    sent = recipe_form([(coffees.low, "100")]) | {"form-TOTAL_FORMS": "many"}
    assert client.post(f"/blends/{blend.pk}/recipes/add/", sent).status_code == 200
    sent["form-TOTAL_FORMS"] = "100000000"
    assert client.post(f"/blends/{blend.pk}/recipes/add/", sent).status_code == 200
    assert not Recipe.objects.exists()


def test_the_next_recipe_begins_from_the_newest(
    coffees: Tasted, blend: Blend, client: Client
) -> None:
    things.recipe({coffees.low: 600_000, coffees.high: 400_000}, blend=blend)
    forms = client.get(f"/blends/{blend.pk}/recipes/add/").context["shares"].forms
    kept = [(form.initial["component"], form.initial["share"]) for form in forms[:2]]
    assert kept == [(coffees.low, 600_000), (coffees.high, 400_000)]
    assert len(forms) == 3, "and an empty row"


def test_of_two_people_who_change_a_recipe_the_second_is_told_and_nothing_is_lost(
    coffees: Tasted, client: Client
) -> None:
    recipe = things.recipe({coffees.low: 600_000, coffees.high: 400_000})
    address = f"/blends/recipes/{recipe.pk}/change/"
    mine = recipe_form([(coffees.low, "70"), (coffees.high, "30")], reason="mine", revision="1")
    yours = recipe_form([(coffees.low, "55"), (coffees.high, "45")], reason="yours", revision="1")
    assert client.post(address, mine).status_code == 302
    told = client.post(address, yours)
    assert "Somebody else saved this first" in told.text
    assert told.context["differing"] == [
        (
            "Proportions",
            "55 % Low Ground (omni) and 45 % High Field (omni)",
            "70 % Low Ground (omni) and 30 % High Field (omni)",
        ),
        ("Why this recipe", "yours", "mine"),
    ]
    assert 'value="55"' in told.text, "what the second typed is still there"
    recipe.refresh_from_db()
    assert (recipe.reason, shares_of(recipe)["Low Ground"]) == ("mine", 700_000)
    again = yours | {"revision": str(told.context["revision"])}
    assert client.post(address, again).status_code == 302
    assert shares_of(recipe)["Low Ground"] == 550_000


def step(client: Client, recipe: Recipe, deed: str, **sent: str) -> str:
    text = client.post(f"/blends/recipes/{recipe.pk}/{deed}/", sent, follow=True).text
    recipe.refresh_from_db()
    return text


def test_a_recipe_lives_from_trial_to_retirement_with_its_reasons(
    coffees: Tasted, client: Client, roaster: Person
) -> None:
    recipe = things.recipe({coffees.low: 1_000_000})
    step(client, recipe, "approve", reason="carries in milk")
    assert (recipe.state, recipe.approved_by) == ("approved", roaster)
    step(client, recipe, "service", on="2026-04-01", reason="new crop")
    assert (recipe.state, recipe.in_service_from) == ("in service", dt.date(2026, 4, 1))
    step(client, recipe, "retire", on="2026-05-01", reason="used up")
    assert (recipe.state, recipe.retired_on) == ("retired", dt.date(2026, 5, 1))
    told = Change.objects.filter(kind="blends.recipe").order_by("id").values_list("verb", "note")
    assert list(told) == [
        ("approved", "carries in milk"),
        ("put into service", "new crop"),
        ("retired", "used up"),
    ]


def test_steps_out_of_order_are_refused_with_the_reason(coffees: Tasted, client: Client) -> None:
    recipe = things.recipe({coffees.low: 1_000_000})
    text = step(client, recipe, "service", on="2026-04-01", reason="hurry")
    assert "only an approved recipe goes into service" in text
    assert "only what was approved can be retired" in step(
        client, recipe, "retire", on="2026-04-01", reason="away"
    )
    step(client, recipe, "approve")
    assert recipe.state == "trial", "no approval without a reason"
    step(client, recipe, "approve", reason="good")
    assert "only a trial can be approved" in step(client, recipe, "approve", reason="good")
    sent = recipe_form([(coffees.high, "100")], revision=str(recipe.revision))
    text = client.post(f"/blends/recipes/{recipe.pk}/change/", sent).text
    assert "stays what it is; write a new version instead" in text
    assert shares_of(recipe) == {"Low Ground": 1_000_000}
    recipe.refresh_from_db()
    assert (recipe.state, recipe.sealed) == ("approved", True)


def in_service(recipe: Recipe, since: dt.date) -> Recipe:
    Recipe.objects.filter(pk=recipe.pk).update(
        state="in service",
        in_service_from=since,
        approved_by=things.person(),
        approved_at=things.NOW,
    )
    recipe.refresh_from_db()
    return recipe


def test_the_next_recipe_in_service_retires_the_one_before(
    coffees: Tasted, blend: Blend, client: Client
) -> None:
    old = in_service(things.recipe({coffees.low: 1_000_000}, blend=blend), dt.date(2026, 3, 1))
    new = things.recipe({coffees.high: 1_000_000}, blend=blend)
    step(client, new, "approve", reason="brighter")
    assert "cannot begin before it" in step(client, new, "service", on="2026-02-01", reason="x")
    assert (new.state, old.state) == ("approved", "in service")
    step(client, new, "service", on="2026-04-01", reason="spring")
    old.refresh_from_db()
    assert (new.state, old.state, old.retired_on) == ("in service", "retired", dt.date(2026, 4, 1))
    assert Change.objects.get(verb="retired").note == "replaced by version 2"


def test_a_recipe_is_not_retired_before_it_was_in_service(coffees: Tasted, client: Client) -> None:
    recipe = in_service(things.recipe({coffees.low: 1_000_000}), dt.date(2026, 3, 1))
    text = step(client, recipe, "retire", on="2026-02-28", reason="x")
    assert "A recipe cannot be retired before it went into service" in text
    assert recipe.state == "in service"


def test_a_recipe_is_held_against_its_brief_its_cost_and_the_one_in_service(
    tasted: Tasted, blend: Blend, client: Client
) -> None:
    blend.brief = things.brief(
        [{"attribute": tasted.body, "kind": "at least", "low": 5, "high": 7, "must": True}]
    )
    blend.save()
    in_service(things.recipe({tasted.low: 1_000_000}, blend=blend), dt.date(2026, 3, 1))
    trial = things.recipe({tasted.low: 500_000, tasted.high: 500_000}, blend=blend)
    page = client.get(f"/blends/recipes/{trial.pk}/").context["page"]
    assert [(text, must) for text, _, must in page.wants] == [
        ("body at least 5, best from 7", True)
    ]
    # Body goes from 7.5 to about 5: a difference nobody overlooks, 5 points of acidity the more.
    found = {row.attribute: row for row in page.differences}
    assert page.against == "Against version 1, in service"
    assert found["body"].verdict == found["acidity"].verdict == "different"
    assert found["body"].difference.startswith("−")
    # Landed green over the yield (SCAA 2009): half of 4.00 and half of 9.00; both lose about 15 %.
    costs = {row.what: row.amount for row in page.costs}
    assert costs["landed green"] == "6.50 EUR"
    per_kg = float(costs["coffee per roasted kg"].removesuffix(" EUR"))
    assert per_kg == pytest.approx(6.5 / 0.85, rel=0.005)


def test_a_coffee_without_a_price_is_named_as_the_reason_for_no_cost(
    coffees: Tasted, client: Client
) -> None:
    coffees.low.lot.price_per_kg = None
    coffees.low.lot.save()
    recipe = things.recipe({coffees.low: 1_000_000})
    text = client.get(f"/blends/recipes/{recipe.pk}/").text
    assert "has no price" in text


def test_a_viewer_reads_a_recipe_and_can_do_nothing_to_it(
    coffees: Tasted, viewer: Person, signed_in: As
) -> None:
    recipe, client = things.recipe({coffees.low: 1_000_000}), signed_in(viewer)
    page = client.get(f"/blends/recipes/{recipe.pk}/")
    assert page.status_code == 200
    assert "Approve" not in page.text
    for deed in ("change", "approve", "service", "retire", "sample"):
        answer = client.post(f"/blends/recipes/{recipe.pk}/{deed}/", {"reason": "x"})
        assert answer.status_code == 403, deed
    recipe.refresh_from_db()
    assert recipe.state == "trial"


def test_a_stranger_sees_nothing(roastery: object) -> None:
    assert Client().get(f"/blends/recipes/{things.recipe().pk}/").status_code == 302
