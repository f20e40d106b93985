"""What the database refuses, whoever writes: a page, a script, a race."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.db import DatabaseError, IntegrityError, connection, transaction

from coupage.web.batches.models import Batch, BatchVerdict
from coupage.web.blends.models import Brief, Recipe, RecipeShare, Want
from coupage.web.coffees.models import ApproachVersion, Lot, StockEntry
from coupage.web.cuppings.models import Cup, Cupping, Part, Rating, Sample, Seat, Serving, Word
from coupage.web.people.models import Roastery
from tests.web import things

pytestmark = pytest.mark.django_db


def refused(write: Callable[[], Any], saying: str = "") -> None:
    with pytest.raises(IntegrityError, match=saying or None), transaction.atomic():
        write()
        # Foreign keys are checked when the transaction ends; check them now.
        connection.check_constraints()


def test_a_recipe_of_99_per_cent_cannot_be_sealed() -> None:
    first, second = things.approach_version().approach, things.approach_version().approach
    recipe = things.recipe({first: 600_000, second: 400_000})
    Recipe.objects.filter(pk=recipe.pk).update(sealed=False)
    RecipeShare.objects.filter(recipe=recipe, approach=second).update(share_ppm=390_000)
    refused(lambda: Recipe.objects.filter(pk=recipe.pk).update(sealed=True), "must add up to 100 %")


def test_a_recipe_cannot_be_born_sealed() -> None:
    recipe = things.recipe()
    refused(
        lambda: Recipe.objects.create(
            blend=recipe.blend, version=2, made_at=things.NOW, sealed=True
        ),
        "must add up to 100 %",
    )


@pytest.mark.parametrize("what", ["add", "change", "take", "move"])
def test_shares_of_a_sealed_recipe_stay(what: str) -> None:
    recipe, other = things.recipe(), things.recipe()
    share = recipe.shares.get()
    another = things.approach_version().approach
    writes: dict[str, Callable[[], Any]] = {
        "add": lambda: RecipeShare.objects.create(recipe=recipe, approach=another, share_ppm=1),
        "change": lambda: RecipeShare.objects.filter(pk=share.pk).update(share_ppm=999_999),
        "take": lambda: RecipeShare.objects.filter(pk=share.pk).delete(),
        "move": lambda: RecipeShare.objects.filter(pk=share.pk).update(recipe=other),
    }
    refused(writes[what], "sealed")


def test_parts_of_a_sealed_sample_stay() -> None:
    sample = things.sample()
    refused(lambda: Part.objects.filter(sample=sample).update(share_ppm=1), "sealed")
    refused(lambda: Part.objects.filter(sample=sample).delete(), "sealed")


def test_an_open_sample_cannot_go_on_a_table() -> None:
    table = things.cupping()
    sample = Sample.objects.create(label="open", kind="trial", made_on=things.NOW.date())
    refused(lambda: Cup.objects.create(cupping=table, sample=sample, number=1, code="999"), "100 %")


def test_only_one_recipe_of_a_blend_is_in_service() -> None:
    person = things.person()
    served = {
        "state": "in service",
        "in_service_from": things.NOW.date(),
        "approved_by": person,
        "approved_at": things.NOW,
    }
    first = things.recipe(**served)
    second = things.recipe(blend=first.blend)
    refused(lambda: Recipe.objects.filter(pk=second.pk).update(**served))


def test_a_recipe_in_service_cannot_be_opened() -> None:
    recipe = things.recipe(state="approved", approved_by=things.person(), approved_at=things.NOW)
    refused(lambda: Recipe.objects.filter(pk=recipe.pk).update(sealed=False))


def test_a_rating_is_given_once() -> None:
    table = things.cupping()
    things.rate_all(table)
    refused(lambda: things.rate_all(table))


def _rating(table: Cupping, **other: Any) -> Rating:
    values = {
        "cup": table.cups.all()[0],
        "seat": table.seats.all()[0],
        "round": table.rounds.all()[0],
        "attribute": table.asked.all()[0].attribute,
        "value": Decimal(5),
        "at": things.NOW,
    }
    return Rating(**(values | other))


@pytest.mark.parametrize("what", ["cup", "seat", "round"])
def test_a_rating_joins_things_of_one_table(what: str) -> None:
    table, other = things.cupping(), things.cupping()
    of = {"cup": other.cups, "seat": other.seats, "round": other.rounds}[what].all()[0]
    refused(_rating(table, **{what: of}).save, "different cuppings")
    _rating(table).save()
    refused(lambda: Rating.objects.update(**{what: of}), "different cuppings")


def test_a_rating_answers_what_the_table_asks() -> None:
    table = things.cupping()
    refused(_rating(table, attribute=things.attribute("unasked")).save, "different cuppings")


def test_words_and_servings_join_things_of_one_table() -> None:
    table, other = things.cupping(), things.cupping()
    cup, seat = other.cups.all()[0], table.seats.all()[0]
    refused(lambda: Word.objects.create(cup=cup, seat=seat, text="plum"), "different cuppings")
    refused(lambda: Serving.objects.create(cup=cup, seat=seat, position=99), "different cuppings")


def test_an_unknown_taster_cannot_rate() -> None:
    refused(_rating(things.cupping(), seat=Seat(pk=987_654)).save)


@pytest.mark.parametrize("value", [Decimal("-0.5"), Decimal("10.5")])
def test_a_rating_lies_on_the_scale(value: Decimal) -> None:
    refused(_rating(things.cupping(), value=value).save)


def test_no_more_comes_out_of_the_drum_than_went_in() -> None:
    refused(lambda: things.batch(green_g=10_000, roasted_g=10_001))
    things.batch(green_g=10_000, roasted_g=10_000)


@pytest.mark.parametrize(
    "wrong",
    [
        {"green_g": 0},
        {"roasted_g": 0},
        {"seconds": 0},
        {"seconds": 500, "first_crack_s": 501},
        {"end_temperature_c": Decimal(20)},
        {"colour": Decimal(90)},
        {"verdict": "perhaps"},
        {"number": ""},
    ],
)
def test_a_batch_makes_sense(wrong: dict[str, Any]) -> None:
    refused(lambda: things.batch(**wrong))


def test_negative_masses_are_refused() -> None:
    refused(lambda: things.batch(green_g=-12_000, roasted_g=None))
    lot = things.lot()
    refused(
        lambda: StockEntry.objects.create(
            lot=lot, kind="receipt", mass_g=-60_000, on=dt.date(2026, 1, 5)
        )
    )


def test_a_hold_goes_with_its_reason() -> None:
    batch, person = things.batch(), things.person()
    refused(
        lambda: BatchVerdict.objects.create(batch=batch, verdict="hold", by=person, at=things.NOW)
    )


def test_names_are_given_once() -> None:
    lot = things.lot()
    refused(lambda: things.lot(name=lot.name))
    batch = things.batch()
    refused(lambda: things.batch(number=batch.number))


@pytest.mark.parametrize(
    ("model", "wrong"),
    [
        (Lot, {"moisture_pct": Decimal(55)}),
        (Lot, {"price_per_kg": Decimal(-1)}),
        (Lot, {"process": "steamed"}),
        (ApproachVersion, {"loss_pct": Decimal(75)}),
        (ApproachVersion, {"charge_g": 0}),
        (Brief, {"max_components": 9}),
        (Brief, {"cost_cap": Decimal(0)}),
        (Want, {"low": Decimal(7), "high": Decimal(6)}),
    ],
)
def test_numbers_keep_their_ranges(model: type, wrong: dict[str, Any]) -> None:
    {Lot: things.lot, ApproachVersion: things.approach_version, Brief: things.brief}.get(
        model, things.brief
    )()
    refused(lambda: model.objects.update(**wrong))


def test_there_is_one_roastery() -> None:
    Roastery.objects.create(name="one")
    refused(lambda: Roastery.objects.create(name="two"))


def test_used_things_cannot_be_deleted() -> None:
    batch = things.batch()
    things.sample({batch: 1_000_000})
    with pytest.raises(DatabaseError), transaction.atomic():
        Batch.objects.filter(pk=batch.pk)._raw_delete(using="default")
        connection.check_constraints()


@pytest.mark.parametrize(
    "wrong",
    [
        {"kind": "at least", "low": None},
        {"kind": "at most", "high": None},
        {"kind": "between", "high": None},
        {"kind": "close to", "low": None},
        {"low": Decimal(-1)},
        {"high": Decimal(11)},
        {"importance": Decimal(0)},
    ],
)
def test_a_want_has_the_ends_its_kind_needs(wrong: dict[str, Any], db: None) -> None:
    things.brief()
    refused(lambda: Want.objects.update(**wrong))
