"""The demo as it stands in the database: complete, consistent, fresh."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from django.db import connection, transaction
from django.db.models import F, Sum

from coupage.units import PPM
from coupage.web.batches.models import Batch
from coupage.web.blends.models import Blend, Brief, Recipe, RecipeSample
from coupage.web.coffees.models import Approach, ApproachVersion, Lot, StockEntry
from coupage.web.cuppings.columns import columns_of
from coupage.web.cuppings.models import Attribute, Cupping, Rating, Sample, Seat, Taster, Word
from coupage.web.demo.generate import generate, panel_columns
from coupage.web.demo.load import load_demo
from coupage.web.demo.scenario import SCENARIO
from coupage.web.people.models import Change, Roastery

# The mark has the database made when this file is run alone; each test sees the one load below.
pytestmark = pytest.mark.django_db
# The clocks go forward in the zone of the roastery within these ten weeks.
TODAY = dt.date(2026, 4, 30)


@pytest.fixture(scope="module")
def roastery(django_db_setup: Any, django_db_blocker: Any) -> Iterator[Roastery]:
    """The demo, loaded once for all tests here; none of them writes."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield load_demo(today=TODAY)
        transaction.set_rollback(True)


def test_it_is_marked_as_a_demo_and_says_so_in_its_history(roastery: Roastery) -> None:
    assert roastery.is_demo
    assert Roastery.objects.count() == 1
    assert "invented" in Change.objects.get(verb="set up").note


def test_everything_of_the_scenario_is_there(roastery: Roastery) -> None:
    expected = {
        Lot: len(SCENARIO.lots),
        Approach: len(SCENARIO.approaches),
        ApproachVersion: sum(len(a.versions) for a in SCENARIO.approaches),
        StockEntry: sum(len(lot.stock) for lot in SCENARIO.lots),
        Batch: len(SCENARIO.batches),
        Attribute: len(SCENARIO.attributes),
        Taster: len(SCENARIO.tasters),
        Sample: len(SCENARIO.samples),
        Cupping: len(SCENARIO.cuppings),
        Seat: sum(len(c.tasters) for c in SCENARIO.cuppings),
        Rating: len(generate().ratings),
        Word: len(generate().words),
        Brief: len(SCENARIO.briefs),
        Blend: len(SCENARIO.blends),
        Recipe: sum(len(b.recipes) for b in SCENARIO.blends),
        RecipeSample: sum(s.recipe is not None for s in SCENARIO.samples),
    }
    assert {model: model.objects.count() for model in expected} == expected


def test_the_database_finds_nothing_wrong(roastery: Roastery) -> None:
    connection.check_constraints()
    assert not Sample.objects.filter(sealed=False).exists()
    assert not Recipe.objects.filter(sealed=False).exists()
    for model in (Sample, Recipe):
        child = "parts" if model is Sample else "shares"
        sums = model.objects.annotate(whole=Sum(f"{child}__share_ppm"))
        assert set(sums.values_list("whole", flat=True)) == {PPM}


@pytest.mark.parametrize(
    "model", [Lot, ApproachVersion, Batch, Attribute, Sample, Cupping, Brief, Recipe, Taster]
)
def test_every_row_passes_the_checks_of_a_form(roastery: Roastery, model: Any) -> None:
    for row in model.objects.all():
        row.full_clean()


def test_the_demo_is_fresh(roastery: Roastery) -> None:
    roasted = [batch.roasted_at.date() for batch in Batch.objects.all()]
    assert max(roasted) == TODAY - dt.timedelta(days=1)
    assert min(roasted) == TODAY - dt.timedelta(days=70)
    ahead = Cupping.objects.filter(held_at__date__gt=TODAY)
    assert [c.state for c in ahead] == ["planned"]
    assert not Rating.objects.filter(at__date__gte=TODAY).exists()


def test_a_batch_belongs_to_the_version_of_its_day(roastery: Roastery) -> None:
    late = Batch.objects.filter(approach_version__since__gt=F("roasted_at__date"))
    assert not late.exists()
    numbers = Batch.objects.values_list("approach_version__number", flat=True)
    assert set(numbers) == {1, 2}


def test_a_batch_shows_its_newest_verdict(roastery: Roastery) -> None:
    for batch in Batch.objects.prefetch_related("verdicts"):
        newest = batch.verdicts.all()[0].verdict if batch.verdicts.all() else "waiting"
        assert batch.verdict == newest
        assert all(v.at > batch.roasted_at for v in batch.verdicts.all())
    held = Batch.objects.get(verdict="hold")
    told = held.verdicts.all()[0].reason
    assert f"{held.number[:-1]}b" in told
    assert "{" not in told
    assert Batch.objects.filter(verdict="waiting").count() == 5


def test_one_lot_runs_low(roastery: Roastery) -> None:
    left = {}
    for lot in Lot.objects.all():
        received = lot.stock_entries.aggregate(sum=Sum("mass_g"))["sum"]
        roasted = Batch.objects.filter(approach_version__approach__lot=lot)
        left[lot.name] = received - (roasted.aggregate(sum=Sum("green_g"))["sum"] or 0)
    assert [name for name, g in left.items() if g < roastery.low_stock_g] == ["Tres Umbrales"]
    assert left["Tres Umbrales"] > 0


def test_a_table_under_way_is_half_filled_and_tells_who_is_finished(roastery: Roastery) -> None:
    table = Cupping.objects.get(state="open")
    cells = table.cups.count() * table.asked.count() * table.rounds.count()
    rated = Counter(Rating.objects.filter(cup__cupping=table).values_list("seat", flat=True))
    filled = {seat.taster.name: rated[seat.pk] / cells for seat in table.seats.all()}
    assert filled == {"Idris": 1.0, "Lotte": 0.6, "Noor": 0.0}
    finished = [seat.taster.name for seat in table.seats.all() if seat.finished_at]
    assert finished == ["Idris"]


def test_the_database_gives_the_model_what_was_generated(roastery: Roastery) -> None:
    stored = columns_of(Cupping.objects.filter(state="revealed"))
    ratings, samples = panel_columns(generate())
    assert sorted(stored.ratings["rating"]) == sorted(ratings["rating"])

    def cells(columns: Any) -> Counter[Any]:
        names = ("taster", "pass_name", "attribute", "rating")
        return Counter(zip(*(map(str, columns[name]) for name in names), strict=True))

    assert cells(stored.ratings) == cells(ratings)
    parts = sorted(zip(samples["component"], samples["proportion"], strict=True))
    assert sorted(zip(stored.samples["component"], stored.samples["proportion"], strict=True)) == (
        [(name, pytest.approx(share)) for name, share in parts]
    )
    # The wall clock of the roastery may have been moved an hour in between.
    np.testing.assert_allclose(
        sorted(stored.samples["age_days"]), sorted(samples["age_days"]), atol=1.01 / 24
    )


def test_the_house_blend_has_a_past_a_present_and_a_trial(roastery: Roastery) -> None:
    house = Blend.objects.get(name="Ropewalk")
    states = list(house.recipes.order_by("version").values_list("state", flat=True))
    assert states == ["retired", "in service", "trial"]
    for made in RecipeSample.objects.select_related("recipe", "sample"):
        shares = {s.approach_id: s.share_ppm for s in made.recipe.shares.all()}
        parts = {
            part.batch.approach_version.approach_id: part.share_ppm
            for part in made.sample.parts.select_related("batch__approach_version")
        }
        assert parts == shares
    assert house.brief is not None
    assert house.brief.wants.filter(must=True).count() >= 3
