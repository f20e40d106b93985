"""Recipes side by side: chosen or typed, and what the page says of them."""

from __future__ import annotations

import numpy as np
import pytest
from django.test import Client
from scipy.stats import norm

from coupage.errors import InputError
from coupage.web.blends.models import Blend, Recipe
from coupage.web.blends.written import read_typed
from coupage.web.coffees.queries import approaches
from coupage.web.people.models import Person
from tests.web import things
from tests.web.blends.conftest import Four
from tests.web.conftest import As

pytestmark = pytest.mark.django_db


def compared(client: Client, **asked: object) -> object:
    return client.get("/blends/compare/", asked).context["page"]


def test_recipes_are_typed_as_people_write_them(four: Four) -> None:
    first, second, third, _ = four.approaches
    offered = list(approaches())
    wanted = {first: 450_000, second: 350_000, third: 200_000}
    for text in (
        "45 First (omni), 35 Second (omni), 20 Third (omni)",
        "45 % first, 35 % second and 20 % third",
        "45,0 First; 35 Second; 20.0 % Third",
        "45 First\n35 Second\n20 Third",
    ):
        assert read_typed(text, offered) == wanted, text


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("45 First, 35 Second", "add up to 80 %"),
        ("First and Second", "is not a share and a coffee"),
        ("100 Tenth", "there is no coffee 'Tenth'"),
        ("100 F", "may be First"),
        ("50 First, 50 first", "stands here twice"),
        ("1.2.3 First", "is not a number"),
    ],
)
def test_what_cannot_be_read_is_said_beside_its_box_and_stays_there(
    text: str, says: str, four: Four, client: Client
) -> None:
    with pytest.raises(InputError, match=says):
        read_typed(text, list(approaches()))
    answer = client.get("/blends/compare/", {"typed_1": text})
    assert answer.status_code == 200
    assert "typed_1" in answer.context["form"].errors
    assert answer.context["form"]["typed_1"].value() == text
    assert answer.context["page"] is None


def test_a_recipe_against_itself_is_the_same_and_nobody_notices(four: Four, client: Client) -> None:
    typed = "45 First, 35 Second, 20 Third"
    page = compared(client, recipe_1=four.recipe.pk, typed_2=typed)
    (one,) = page.against  # type: ignore[attr-defined]
    assert one.verdict == "same"
    assert {row.difference for row in one.rows} == {"0.0"}
    assert dict(one.noticed)["Really notice"] == "0 %"
    assert one.sentence.startswith("Hardly anybody would notice")
    rows = page.sides  # type: ignore[attr-defined]
    assert (rows[0].chance, rows[0].cost) == (rows[1].chance, rows[1].cost)


def test_coffees_that_taste_far_apart_are_told_apart(four: Four, client: Client) -> None:
    """The share of right answers is the triangle test's for the d-prime that is shown."""
    page = compared(client, typed_1="100 First", typed_2="100 Fourth", typed_3="100 Second")
    assert [one.verdict for one in page.against] == ["different", "different"]  # type: ignore[attr-defined]
    noticed = dict(page.against[0].noticed)  # type: ignore[attr-defined]
    d = float(noticed["Distance, d-prime"].split()[0])
    # Ennis 1993, Journal of Sensory Studies 8(4), equation for the triangular method.
    x = np.linspace(0, 12, 20_001)
    root3, root23 = np.sqrt(3), np.sqrt(2 / 3)
    inner = norm.cdf(-x * root3 + d * root23) + norm.cdf(-x * root3 - d * root23)
    right = 2 * np.trapezoid(inner * norm.pdf(x), x)
    assert float(noticed["Right in a triangle test"].split()[0]) == pytest.approx(
        100 * right, abs=3
    )


def test_weeks_are_what_is_on_hand_over_what_is_sold(four: Four, client: Client) -> None:
    Blend.objects.update(weekly_g=50_000)
    page = compared(client, recipe_1=four.recipe.pk)
    side = page.sides[0]  # type: ignore[attr-defined]
    kilograms = float(side.makes.split()[0])
    weeks = float(side.weeks.split()[0])
    assert weeks == pytest.approx(kilograms / 50, abs=0.06)
    # 300 kg less 12 in the drum, at a loss of 15 %, for 45 % of the blend.
    assert kilograms == pytest.approx(288 * 0.85 / 0.45, rel=0.01)


def test_it_begins_with_the_recipe_in_service_and_the_newest_other(
    four: Four, client: Client
) -> None:
    assert compared(client) is None
    newer = things.recipe({four.approaches[3]: 1_000_000}, blend=four.recipe.blend)
    assert [s.name for s in compared(client).sides] == ["Ferry 1", "Ferry 2"]  # type: ignore[attr-defined]
    link = client.get(f"/blends/{four.recipe.blend_id}/").context["page"].compared
    assert link == f"recipe_1={four.recipe.pk}&recipe_2={newer.pk}"


def test_a_coffee_that_nobody_tasted_is_named_and_the_rest_still_stands(
    four: Four, client: Client
) -> None:
    unknown = things.approach_version(lot=things.lot(name="Unknown"), name="omni").approach
    unknown.lot.archived = True
    unknown.lot.save()
    recipe = things.recipe({unknown: 1_000_000})
    page = compared(client, recipe_1=four.recipe.pk, recipe_2=recipe.pk)
    assert "Nothing is believed of a coffee" in page.problem  # type: ignore[attr-defined]
    assert len(page.sides) == 2  # type: ignore[attr-defined]
    assert Recipe.objects.count() == 2


def test_whoever_may_see_may_compare_and_a_taster_may_not(
    four: Four, viewer: Person, taster: Person, signed_in: As
) -> None:
    assert signed_in(viewer).get("/blends/compare/").status_code == 200
    assert signed_in(taster).get("/blends/compare/").status_code == 403
    assert Client().get("/blends/compare/").status_code == 302
