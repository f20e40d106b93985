"""The weighing sheet: whole steps of the scale that make the whole, and what to heed."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.test import Client
from hypothesis import given, settings
from hypothesis import strategies as st

from coupage.web.blends.models import Recipe
from coupage.web.blends.pages.weigh import WeighSheet, weigh_sheet
from coupage.web.people.models import Person
from tests.web import things
from tests.web.blends.conftest import Tasted
from tests.web.conftest import As

pytestmark = pytest.mark.django_db


@pytest.fixture
def recipe(coffees: Tasted) -> Recipe:
    return things.recipe({coffees.low: 650_000, coffees.high: 350_000})


def grams(shown: str) -> Decimal:
    """Read a mass as the sheet writes it."""
    amount, unit = shown.split(" ", 1)
    return Decimal(amount) * (1000 if unit == "kg" else 1)


def sheet(client: Client, recipe: Recipe, **asked: str) -> WeighSheet:
    answer = client.get(
        f"/blends/recipes/{recipe.pk}/weighing/",
        {"total": "10", "loads": "1", "resolution": "10"} | asked,
    )
    made: WeighSheet = answer.context["sheet"]
    assert made is not None, answer.context["form"].errors
    return made


def test_the_sheet_weighs_what_the_recipe_says(recipe: Recipe, client: Client) -> None:
    made = sheet(client, recipe)
    assert [(line.coffee, line.per_load) for line in made.lines] == [
        ("Low Ground (omni)", "6.500 kg"),
        ("High Field (omni)", "3.500 kg"),
    ]
    assert (made.whole, made.warnings) == ("10.000 kg", ())


@pytest.mark.parametrize(
    "asked",
    [
        {"total": "7,777"},
        {"total": "10", "loads": "3"},
        {"total": "1.001", "resolution": "0,1"},
        {"total": "0.02", "resolution": "0.1"},
        {"total": "1999", "loads": "50", "resolution": "50"},
    ],
)
def test_the_lines_sum_to_the_load_and_the_loads_to_the_whole(
    asked: dict[str, str], recipe: Recipe, client: Client
) -> None:
    made = sheet(client, recipe, **asked)
    assert sum(grams(line.per_load) for line in made.lines) == grams(made.per_load)
    assert sum(grams(line.whole) for line in made.lines) == grams(made.whole)
    assert grams(made.per_load) * made.loads == grams(made.whole)


def test_a_coarse_scale_is_warned_of(recipe: Recipe, client: Client) -> None:
    made = sheet(client, recipe, total="0.1", resolution="20")
    # 65 g and 35 g in steps of 20 g become 60 g and 40 g.
    assert [line.per_load for line in made.lines] == ["60 g", "40 g"]
    (warning,) = made.warnings
    assert warning == (
        "The scale is coarse for this: Low Ground (omni) becomes 60.0 % and High Field (omni) "
        "becomes 40.0 %. Use a finer scale or larger loads."
    )


def test_a_total_that_does_not_divide_into_loads_is_said(recipe: Recipe, client: Client) -> None:
    made = sheet(client, recipe, total="10", loads="3")
    assert made.warnings == (
        "10.000 kg do not divide into 3 equal loads on this scale; this sheet makes 9.990 kg.",
    )


@settings(max_examples=40, deadline=None)
@given(
    total=st.integers(200, 200_000),
    loads=st.integers(1, 20),
    step=st.sampled_from(["0.1", "1", "2", "5", "10"]),
)
def test_weighed_shares_are_never_further_off_than_the_scale_forces(
    total: int, loads: int, step: str
) -> None:
    """Each line is within one step of its share of the load."""
    recipe = Recipe.objects.first() or things.recipe(
        {
            things.approach_version().approach: 450_000,
            things.approach_version().approach: 333_333,
            things.approach_version().approach: 216_667,
        }
    )
    if total / loads < float(step):
        return
    made = weigh_sheet(
        recipe, total_g=total, loads=loads, resolution_g=Decimal(step), batches={}, unit="kg"
    )
    for line, share in zip(made.lines, recipe.shares.all(), strict=True):
        wanted = grams(made.per_load) * share.share_ppm / 1_000_000
        assert abs(grams(line.per_load) - wanted) < Decimal(step) + Decimal("0.001")


def test_pounds_are_written_as_a_scale_in_pounds_shows_them(recipe: Recipe, client: Client) -> None:
    Person.objects.update(mass_unit="lb")
    # 20 lb: 65 % are 13 lb, 35 % are 7 lb (NIST Handbook 44: 16 ounces to the pound).
    made = sheet(client, recipe, total="20", resolution="0.5")
    assert [line.per_load for line in made.lines] == ["13 lb 0 oz", "7 lb 0 oz"]
    made = sheet(client, recipe, total="1", resolution="0.5")
    # 10.4 oz and 5.6 oz in steps of half an ounce.
    assert [line.per_load for line in made.lines] == ["10.5 oz", "5.5 oz"]
    assert made.resolution == "0.5 oz"


@pytest.mark.parametrize(
    ("wrong", "field", "says"),
    [
        ({"total": "0"}, "total", "more than 0"),
        ({"total": "-5"}, "total", "more than 0"),
        ({"total": "1e999999999"}, "total", "out of all measure"),
        ({"loads": "0"}, "loads", "at least 1"),
        ({"loads": "51"}, "loads", "at most 50"),
        ({"loads": "1,5"}, "loads", "digits"),
        ({"resolution": "0"}, "resolution", "more than 0"),
        ({"total": "0.02", "loads": "5", "resolution": "10"}, "resolution", "fewer loads"),
    ],
)
def test_what_cannot_be_weighed_is_explained(
    wrong: dict[str, str], field: str, says: str, recipe: Recipe, client: Client
) -> None:
    asked = {"total": "10", "loads": "1", "resolution": "10"} | wrong
    answer = client.get(f"/blends/recipes/{recipe.pk}/weighing/", asked)
    assert says in " ".join(answer.context["form"].errors[field])
    assert answer.context["sheet"] is None


def test_the_newest_usable_batch_is_offered_and_another_can_be_taken(
    recipe: Recipe, coffees: Tasted, client: Client
) -> None:
    version = coffees.low.versions.get()
    held = things.batch(approach_version=version, number="L-2", verdict="hold")
    older = things.batch(
        approach_version=version, number="L-0", roasted_at=things.NOW.replace(day=1)
    )
    field = f"batch-{coffees.low.pk}"
    form = client.get(f"/blends/recipes/{recipe.pk}/weighing/").context["form"]
    offered = dict(form.fields[field].choices)
    assert held.pk not in {getattr(key, "value", key) for key in offered}
    assert form.fields[field].initial == version.batches.get(number="L-1").pk
    made = sheet(client, recipe, **{field: str(older.pk)})
    assert [line.batch for line in made.lines] == ["L-0", ""]


def test_a_batch_of_another_coffee_is_not_taken(
    recipe: Recipe, coffees: Tasted, client: Client
) -> None:
    other = coffees.high.versions.get().batches.get()
    field = f"batch-{coffees.low.pk}"
    asked = {"total": "10", "loads": "1", "resolution": "10", field: str(other.pk)}
    answer = client.get(f"/blends/recipes/{recipe.pk}/weighing/", asked)
    assert field in answer.context["form"].errors


def test_the_day_of_a_roast_is_that_of_the_persons_zone(
    recipe: Recipe, coffees: Tasted, client: Client
) -> None:
    batch = coffees.low.versions.get().batches.get()
    batch.roasted_at = things.NOW.replace(day=9, hour=23, minute=30)
    batch.save()
    field = {f"batch-{coffees.low.pk}": str(batch.pk)}
    assert sheet(client, recipe, **field).lines[0].roasted == "9 Mar"
    Person.objects.update(time_zone="Asia/Tokyo")
    assert sheet(client, recipe, **field).lines[0].roasted == "10 Mar"


def test_a_viewer_may_print_it_and_a_stranger_may_not(
    recipe: Recipe, viewer: Person, signed_in: As
) -> None:
    assert sheet(signed_in(viewer), recipe).whole == "10.000 kg"
    assert Client().get(f"/blends/recipes/{recipe.pk}/weighing/").status_code == 302
