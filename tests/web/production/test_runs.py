"""A run from its first gram to its last: weighed, packed, closed, held, voided."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from coupage.errors import InputError
from coupage.web.batches.actions import judge_batch
from coupage.web.batches.queries import stocked
from coupage.web.people.models import Change, Person
from coupage.web.production import actions, queries
from coupage.web.production.models import BagEntry, BlendedEntry, PackingRules, Run
from tests.web import things
from tests.web.production import making
from tests.web.production.making import TODAY

pytestmark = pytest.mark.django_db


def on_hand(batch: Any) -> int:
    return stocked().get(pk=batch.pk).on_hand_g


def sums(run: Run) -> Any:
    return queries.runs().get(pk=run.pk)


@pytest.fixture
def made(roaster: Person) -> Run:
    """12 kg of a blend of two coffees, weighed in two lifts."""
    recipe = making.recipe(60, 40)
    first, second = making.batch_of(recipe, 0), making.batch_of(recipe, 1)
    return making.run({first: 7_200, second: 4_800}, of=recipe, by=roaster, lifts=2)


def test_what_is_planned_is_reserved_and_what_is_weighed_is_gone(roaster: Person) -> None:
    recipe = making.recipe(100)
    batch = making.batch_of(recipe, roasted_g=10_000)
    run = making.run({batch: 6_000}, of=recipe, weigh=False)
    assert on_hand(batch) == 10_000
    assert queries.reserved_g([batch]) == {batch.pk: 6_000}
    with pytest.raises(InputError, match=r"only 4\.000 kg of .* are free"):
        making.run({batch: 4_001}, of=recipe)
    weights = {run.parts.get(): 5_950}
    actions.weigh_lift(run=run, lift=1, weights=weights, on=TODAY, by=roaster, at=things.NOW)
    assert on_hand(batch) == 4_050
    assert sums(run).in_g == sums(run).loose_g == 5_950
    with pytest.raises(InputError, match="weighed already"):
        actions.weigh_lift(run=run, lift=1, weights=weights, on=TODAY, by=roaster, at=things.NOW)


def test_a_lift_can_be_taken_back_and_weighed_anew(made: Run, roaster: Person) -> None:
    batch = made.parts.get(place=1).batch
    before = on_hand(batch)
    actions.take_back_lift(run=made, lift=2, on=TODAY, by=roaster, at=things.NOW)
    assert on_hand(batch) == before + 3_600
    assert sums(made).loose_g == 6_000
    weights = {part: part.per_lift_g[1] - 10 for part in made.parts.all()}
    actions.weigh_lift(run=made, lift=2, weights=weights, on=TODAY, by=roaster, at=things.NOW)
    assert sums(made).in_g == 11_980
    assert sum(queries.composition(made).values()) == 11_980


def test_coffee_that_is_packed_cannot_be_weighed_back(made: Run, roaster: Person) -> None:
    making.packed(made, 40)
    with pytest.raises(InputError, match=r"only 2\.000 kg of .* are loose"):
        actions.take_back_lift(run=made, lift=1, on=TODAY, by=roaster, at=things.NOW)
    assert sums(made).loose_g == 2_000


def test_a_held_batch_is_neither_planned_nor_weighed(roaster: Person) -> None:
    recipe = making.recipe(100)
    batch = making.batch_of(recipe)
    run = making.run({batch: 1_000}, of=recipe, weigh=False)
    judge_batch(batch=batch, verdict="hold", reason="smoke", by=roaster, at=things.NOW)
    with pytest.raises(InputError, match="on hold"):
        making.run({batch: 1_000}, of=recipe)
    weights = {run.parts.get(): 1_000}
    with pytest.raises(InputError, match="on hold"):
        actions.weigh_lift(run=run, lift=1, weights=weights, on=TODAY, by=roaster, at=things.NOW)
    assert not BlendedEntry.objects.exists()


def test_codes_count_the_runs_of_a_day_and_best_before_follows_the_oldest_roast() -> None:
    recipe = making.recipe(100)
    old = making.batch_of(recipe, roasted_at=things.NOW - dt.timedelta(days=9))
    new = making.batch_of(recipe, roasted_at=things.NOW - dt.timedelta(days=2))
    first = making.run({new: 100, old: 100}, of=recipe)
    second = making.run({new: 100}, of=recipe)
    assert [first.lot_code, second.lot_code] == ["140326-1", "140326-2"]
    assert first.best_before == TODAY - dt.timedelta(days=9) + dt.timedelta(days=365)
    assert second.best_before - first.best_before == dt.timedelta(days=7)


def test_bags_are_packed_only_from_what_is_there(made: Run, roaster: Person) -> None:
    row = making.packed(made, 40)
    assert (sums(made).packed_g, sums(made).loose_g) == (10_000, 2_000)
    with pytest.raises(InputError, match="loose"):
        making.packed(made, 9)
    actions.enter_bags(packed=row, kind="unpacked", bags=4, on=TODAY, by=roaster, at=things.NOW)
    assert (sums(made).packed_g, sums(made).loose_g) == (9_000, 3_000)
    other = making.pack(things.recipe().blend)
    with pytest.raises(InputError, match="another blend"):
        actions.pack_bags(run=made, pack=other, bags=1, on=TODAY, by=roaster, at=things.NOW)


@pytest.mark.parametrize(
    ("lost_g", "left_g", "missing_g"), [(30, 1_970, 0), (30, 1_950, 20), (0, 2_055, -55)]
)
def test_in_is_out_and_loss_or_it_says_what_is_missing(
    lost_g: int, left_g: int, missing_g: int, made: Run, roaster: Person
) -> None:
    making.packed(made, 40)
    closing = {"run": made, "lost_g": lost_g, "on": TODAY, "by": roaster, "at": things.NOW}
    closed = actions.close_run(left_g=left_g, **closing)
    found = sums(closed)
    assert closed.state == "closed"
    assert found.loose_g == left_g
    assert found.in_g == found.packed_g + found.lost_g + left_g + missing_g
    change = Change.objects.get(verb="closed")
    assert change.after["missing"] == f"{missing_g / 1000:.3f} kg"


def test_more_than_a_little_missing_needs_a_sentence(made: Run, roaster: Person) -> None:
    making.packed(made, 40)
    closing = {"run": made, "lost_g": 0, "left_g": 1_900, "on": TODAY, "by": roaster}
    with pytest.raises(InputError, match=r"0\.100 kg are missing"):
        actions.close_run(**closing, at=things.NOW)
    assert sums(made).state == "open"
    actions.close_run(**closing, reason="a bag burst", at=things.NOW)
    assert BlendedEntry.objects.get(kind="count").reason == "a bag burst"
    actions.reopen_run(run=made, by=roaster, at=things.NOW)
    assert sums(made).state == "open"


def test_a_voided_run_gives_everything_back(made: Run, roaster: Person) -> None:
    batches = [part.batch for part in made.parts.all()]
    row = making.packed(made, 40)
    actions.void_run(run=made, reason="wrong recipe", on=TODAY, by=roaster, at=things.NOW)
    assert [on_hand(batch) for batch in batches] == [10_200, 10_200]
    assert sums(made).loose_g == sums(made).in_g == 0
    assert queries.packed().get(pk=row.pk).on_hand == 0
    with pytest.raises(InputError, match="void"):
        making.packed(made, 1)


def test_a_run_of_which_bags_left_is_held_not_voided(made: Run, roaster: Person) -> None:
    row = making.packed(made, 40)
    making.sent(making.customer(), {row: 3})
    with pytest.raises(InputError, match="hold the lot instead"):
        actions.void_run(run=made, reason="taste", on=TODAY, by=roaster, at=things.NOW)
    actions.hold_runs(runs=[made], reason="taste", by=roaster, at=things.NOW)
    with pytest.raises(InputError, match="on hold"):
        making.sent(making.customer(), {row: 1})
    for kind, refused in (("sent", True), ("wasted", False)):
        line = row.lines.get() if kind == "sent" else None
        entry = BagEntry(
            packed=row, kind=kind, bags=-1, on=TODAY, at=things.NOW, reason="test", line=line
        )
        if refused:
            with pytest.raises(IntegrityError, match="on hold"), transaction.atomic():
                entry.save()
        else:
            entry.save()
    actions.release_runs(runs=[made], reason="cupped", by=roaster, at=things.NOW)
    making.sent(making.customer(), {row: 1})


def test_a_rest_goes_into_a_later_run_and_counts_as_what_it_holds(roaster: Person) -> None:
    recipe = making.recipe(60, 40)
    a, b = making.batch_of(recipe, 0), making.batch_of(recipe, 1)
    first = making.run({a: 3_000, b: 1_000}, of=recipe)
    second = making.run({first: 2_000, a: 1_000, b: 1_000}, of=recipe)
    assert sums(first).loose_g == 2_000
    assert sums(first).reused_g == 2_000
    approaches = [share.approach_id for share in recipe.shares.all()]
    assert queries.composition(second) == {approaches[0]: 2_500, approaches[1]: 1_500}
    assert second.best_before == first.best_before
    with pytest.raises(InputError, match="used in a later run"):
        actions.void_run(run=first, reason="no", on=TODAY, by=roaster, at=things.NOW)
    actions.void_run(run=second, reason="no", on=TODAY, by=roaster, at=things.NOW)
    assert sums(first).loose_g == 4_000


def test_nothing_of_production_is_changed_or_taken_out_of_its_ledgers(made: Run) -> None:
    making.packed(made, 1)
    for model in (BlendedEntry, BagEntry):
        for write in (
            lambda model=model: model.objects.update(reason="x"),
            lambda model=model: model.objects.all()._raw_delete("default"),
        ):
            with pytest.raises(IntegrityError, match="only ever added to"), transaction.atomic():
                write()


def test_the_step_and_pattern_of_the_house_are_kept(roaster: Person) -> None:
    rules = PackingRules(lot_pattern="{blend}{day}{month}{year}.{run}", best_before_days=180)
    actions.change_rules(rules=rules, by=roaster, at=things.NOW)
    for wrong in ("{month}{day}{yy}-{run}", "{day}{month}{yy}", "{day}{month}-{run}", "{day} x"):
        with pytest.raises(InputError):
            actions.change_rules(rules=PackingRules(lot_pattern=wrong), by=roaster, at=things.NOW)
    recipe = making.recipe(100)
    run = making.run({making.batch_of(recipe): 100}, of=recipe)
    assert run.lot_code == "BL14032026.1"
