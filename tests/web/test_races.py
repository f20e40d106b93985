"""Two people at the same moment: one of them is told, and the books stay true."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

from django.db import DatabaseError, close_old_connections, connection, transaction

from coupage.errors import InputError
from coupage.units import PPM
from coupage.web.batches.actions import judge_batch
from coupage.web.batches.models import Batch, RoastedEntry
from coupage.web.batches.queries import stocked
from coupage.web.batches.roasted import move_roasted
from coupage.web.blends import actions as blends
from coupage.web.blends.models import Recipe, RecipeShare
from coupage.web.coffees import actions as coffees
from coupage.web.coffees import queries
from coupage.web.coffees.models import Lot, Reservation
from coupage.web.cuppings.models import Rating
from tests.web import things

ROUNDS = 8


def at_once(*deeds: Callable[[], Any]) -> list[Exception | None]:
    """Start all deeds at the same moment; what each raised, or None."""
    gate = threading.Barrier(len(deeds))
    raised: list[Exception | None] = [None] * len(deeds)

    def run(i: int) -> None:
        try:
            gate.wait(10)
            deeds[i]()
        except Exception as error:
            raised[i] = error
        finally:
            close_old_connections()
            connection.close()

    threads = [threading.Thread(target=run, args=(i,)) for i in range(len(deeds))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    return raised


def test_the_last_kilogram_is_taken_once(shared: None) -> None:
    person, lot = things.person(), things.lot(received_kg=10)

    def take() -> None:
        coffees.enter_stock(
            lot=lot, kind="sold", mass_g=-6_000, on=things.NOW.date(), by=person, at=things.NOW
        )

    raised = at_once(take, take)
    assert [type(error) for error in raised if error] == [InputError], raised
    assert queries.lots().get(pk=lot.pk).on_hand_g == 4_000


def test_the_last_green_is_promised_once_by_the_action_and_past_it(shared: None) -> None:
    """A plan and a sale, two plans, and two rows that come past the actions."""
    person = things.person()
    today = things.NOW.date()
    for _ in range(ROUNDS // 2):
        first, second, third = (things.lot(received_kg=10) for _ in range(3))

        def plan(name: str, lot: Lot) -> Callable[[], None]:
            def deed() -> None:
                coffees.reserve(
                    purpose=name, wanted_g={lot.pk: 6_000}, on=today, by=person, at=things.NOW
                )

            return deed

        def sell(lot: Lot = second) -> None:
            coffees.enter_stock(
                lot=lot, kind="sold", mass_g=-6_000, on=today, by=person, at=things.NOW
            )

        def write(lot: Lot = third) -> None:
            with transaction.atomic():
                Reservation.objects.create(lot=lot, purpose="x", mass_g=6_000, on=today)

        assert [type(e) for e in at_once(plan("a", first), plan("b", first)) if e] == [InputError]
        assert [type(e) for e in at_once(plan("c", second), sell) if e] == [InputError]
        raised = at_once(write, write)
        assert [isinstance(e, DatabaseError) for e in raised if e] == [True], raised
        keys = [first.pk, second.pk, third.pk]
        assert [lot.free_g for lot in queries.lots().filter(pk__in=keys)] == [4_000] * 3


def test_two_who_plan_the_same_lots_never_wait_in_a_circle(shared: None) -> None:
    person, lots = things.person(), [things.lot(received_kg=10) for _ in range(2)]

    def plan(name: str, order: list[Lot]) -> Callable[[], None]:
        wanted = {lot.pk: 4_000 for lot in order}
        return lambda: (
            coffees.reserve(
                purpose=name, wanted_g=wanted, on=things.NOW.date(), by=person, at=things.NOW
            )
            and None
        )

    for n in range(ROUNDS):
        raised = at_once(plan(f"a{n}", lots), plan(f"b{n}", lots[::-1]))
        assert all(error is None or isinstance(error, InputError) for error in raised), raised
    assert [lot.free_g for lot in queries.lots()] == [2_000] * 2


def test_the_last_roasted_kilogram_is_blended_once(shared: None) -> None:
    """By the action, and past it: the database alone is enough."""
    for _ in range(ROUNDS // 2):
        first, second = things.batch(roasted_g=10_000), things.batch(roasted_g=10_000)
        line = {"kind": "blended", "mass_g": -6_000, "on": things.NOW.date(), "at": things.NOW}

        def take(batch: Batch = first, line: Any = line) -> None:
            move_roasted(batch=batch, by=None, **line)

        def write(batch: Batch = second, line: Any = line) -> None:
            with transaction.atomic():
                RoastedEntry.objects.create(batch=batch, **line)

        assert [type(e) for e in at_once(take, take) if e] == [InputError]
        raised = at_once(write, write)
        assert [isinstance(e, DatabaseError) for e in raised if e] == [True], raised
        assert [b.on_hand_g for b in stocked().filter(pk__in=[first.pk, second.pk])] == [4_000] * 2


def test_a_hold_and_a_blend_at_once_never_both_hold(shared: None) -> None:
    """Whoever is first wins: a line that was written before the hold stays, none comes after."""
    person = things.person()
    for _ in range(ROUNDS // 2):
        batch = things.batch()

        def hold(batch: Batch = batch) -> None:
            judge_batch(batch=batch, verdict="hold", reason="race", by=person, at=things.NOW)

        def blend(batch: Batch = batch) -> None:
            with transaction.atomic():
                RoastedEntry.objects.create(
                    batch=batch, kind="blended", mass_g=-1, on=things.NOW.date(), at=things.NOW
                )

        held, blended = at_once(hold, blend)
        assert held is None
        assert blended is None or "on hold" in str(blended)
        assert batch.roasted_entries.exists() == (blended is None)


def test_a_recipe_is_never_sealed_over_shares_that_come_in_meanwhile(shared: None) -> None:
    """Whoever is first wins; a sealed recipe adds up to 100 % in every order of events."""
    for _ in range(ROUNDS):
        recipe = things.recipe()
        Recipe.objects.filter(pk=recipe.pk).update(sealed=False)
        other = things.approach_version().approach

        def seal(pk: int = recipe.pk) -> None:
            with transaction.atomic():
                Recipe.objects.filter(pk=pk).update(sealed=True)

        def add(pk: int = recipe.pk, approach: int = other.pk) -> None:
            with transaction.atomic():
                RecipeShare.objects.create(recipe_id=pk, approach_id=approach, share_ppm=1)

        raised = at_once(seal, add)
        assert all(isinstance(error, DatabaseError) for error in raised if error)
        recipe.refresh_from_db()
        total = sum(share.share_ppm for share in recipe.shares.all())
        assert not recipe.sealed or total == PPM


def test_two_recipes_put_in_service_at_once_leave_one_there(shared: None) -> None:
    person = things.person()
    approved = {"state": "approved", "approved_by": person, "approved_at": things.NOW}
    first = things.recipe(**approved)
    second = things.recipe(blend=first.blend, **approved)

    def serve(recipe: Recipe) -> Callable[[], None]:
        return lambda: blends.put_in_service(
            recipe=recipe, on=things.NOW.date(), reason="race", by=person, at=things.NOW
        )

    assert at_once(serve(first), serve(second)) == [None, None]
    states = sorted(Recipe.objects.values_list("state", flat=True))
    assert states == ["in service", "retired"]


def test_two_people_who_write_the_next_recipe_get_two_versions(shared: None) -> None:
    person, blend = things.person(), things.recipe().blend
    approach = things.approach_version().approach

    def write() -> None:
        blends.add_recipe(blend=blend, shares={approach: PPM}, reason="", by=person, at=things.NOW)

    assert at_once(write, write) == [None, None]
    assert sorted(blend.recipes.values_list("version", flat=True)) == [1, 2, 3]


def test_a_rating_sent_twice_at_once_is_kept_once(shared: None) -> None:
    table = things.cupping()
    cell = {
        "cup": table.cups.all()[0],
        "seat": table.seats.all()[0],
        "round": table.rounds.all()[0],
        "attribute": table.asked.all()[0].attribute,
        "value": 5,
        "at": things.NOW,
    }

    def save() -> None:
        with transaction.atomic():
            Rating.objects.create(**cell)

    raised = at_once(save, save)
    assert sum(error is None for error in raised) == 1
    assert Rating.objects.count() == 1
