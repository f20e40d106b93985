"""The ledger of roasted coffee: only ever added to, never below nothing, holds respected."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coupage.errors import InputError
from coupage.web.batches import actions, queries
from coupage.web.batches.models import Batch, RoastedEntry
from coupage.web.batches.roasted import enter_roasted, move_roasted
from coupage.web.people.models import Change, Person
from tests.web import things

pytestmark = pytest.mark.django_db
ROASTED = things.NOW.date() - dt.timedelta(days=7)


def day(after: int) -> dt.date:
    return ROASTED + dt.timedelta(days=after)


def entry(batch: Batch, mass_g: int, after: int = 0, kind: str = "blended") -> RoastedEntry:
    return move_roasted(
        batch=batch, kind=kind, mass_g=mass_g, on=day(after), by=None, at=things.NOW, reason="test"
    )


def straight(batch: Batch, mass_g: int, after: int = 0, kind: str = "blended") -> RoastedEntry:
    """Past the actions, as a script would write."""
    return RoastedEntry.objects.create(
        batch=batch, kind=kind, mass_g=mass_g, on=day(after), at=things.NOW, reason="test"
    )


def on_hand(batch: Batch, after: int | None = None) -> int:
    return queries.stocked(None if after is None else day(after)).get(pk=batch.pk).on_hand_g


def test_what_is_on_hand_at_a_date_is_a_sum() -> None:
    batch = things.batch(roasted_g=10_000)
    entry(batch, -4_000, 2)
    entry(batch, 500, 4, "put back")
    entry(batch, -250, 5, "count")
    assert [on_hand(batch, d) for d in (-1, 0, 1, 2, 4, 9)] == [
        0, 10_000, 10_000, 6_000, 6_500, 6_250,
    ]  # fmt: skip
    assert on_hand(batch) == 6_250


def test_stock_of_an_approach_leaves_out_what_is_held_void_or_unweighed() -> None:
    version = things.approach_version()
    things.batch(approach_version=version, roasted_g=10_000)
    things.batch(approach_version=version, roasted_g=3_000, verdict="hold")
    things.batch(approach_version=version, roasted_g=5_000, void=True)
    things.batch(approach_version=version, roasted_g=None)
    entry(things.batch(approach_version=version, roasted_g=2_000), -500)
    assert queries.roasted_on_hand() == {version.approach_id: 11_500}
    assert queries.roasted_on_hand(day(-1)) == {}


def test_a_line_written_late_cannot_take_what_was_taken_after_it() -> None:
    batch = things.batch(roasted_g=10_000)
    entry(batch, 5_000, 3, "count")
    entry(batch, -14_000, 4)
    with pytest.raises(InputError, match=r"only 1\.000 kg"):
        entry(batch, -2_000, 1)
    with pytest.raises(IntegrityError, match="not so much"), transaction.atomic():
        straight(batch, -2_000, 1)
    entry(batch, -1_000, 1)
    assert on_hand(batch) == 0


def test_lines_can_be_neither_changed_nor_taken_out() -> None:
    row = entry(things.batch(), -1_000)
    for write in (
        lambda: RoastedEntry.objects.filter(pk=row.pk).update(mass_g=-1),
        lambda: RoastedEntry.objects.filter(pk=row.pk).delete(),
    ):
        with pytest.raises(IntegrityError, match="only ever added to"), transaction.atomic():
            write()


def test_a_held_batch_is_not_blended_but_may_be_thrown_away() -> None:
    batch = things.batch(verdict="hold")
    with pytest.raises(InputError, match="on hold"):
        entry(batch, -100)
    with pytest.raises(IntegrityError, match="on hold"), transaction.atomic():
        straight(batch, -100)
    straight(batch, -100, kind="wasted")


@pytest.mark.parametrize(
    ("more", "says"),
    [({"void": True}, "is void"), ({"roasted_g": None}, "not weighed"), ({}, "was roasted on")],
)
def test_there_must_be_something_to_take(more: dict[str, Any], says: str) -> None:
    with pytest.raises(InputError, match=says):
        entry(things.batch(**more), -100, -1)


def test_a_used_batch_cannot_be_voided_shrunk_or_roasted_later(roaster: Person) -> None:
    batch = things.batch(roasted_g=10_000)
    entry(batch, -6_000, 1)
    with pytest.raises(InputError, match=r"6\.000 kg of .* are used already"):
        actions.void_batch(batch=batch, void=True, by=roaster, at=things.NOW)
    batch.refresh_from_db()
    for change, says in (
        ({"roasted_g": 5_000}, "used already"),
        ({"roasted_at": things.NOW}, "cannot be roasted after that"),
    ):
        for name, value in change.items():
            setattr(batch, name, value)
        with pytest.raises(InputError, match=says):
            actions.change_batch(batch=batch, revision=1, by=roaster, at=things.NOW)
        batch.refresh_from_db()
    for change in ({"roasted_g": 5_999}, {"void": True}):
        with pytest.raises(IntegrityError, match="used already"), transaction.atomic():
            Batch.objects.filter(pk=batch.pk).update(**change)
    Batch.objects.filter(pk=batch.pk).update(roasted_g=6_000)


def test_what_is_typed_needs_its_reason_and_comes_once(roaster: Person) -> None:
    batch = things.batch()
    line = {"batch": batch, "kind": "wasted", "mass_g": -300, "on": day(1), "by": roaster}
    with pytest.raises(InputError, match="say why"):
        enter_roasted(**line, at=things.NOW)
    enter_roasted(**line, reason="spilt", at=things.NOW)
    with pytest.raises(InputError, match="already"):
        enter_roasted(**line, reason="spilt", at=things.NOW)
    assert on_hand(batch) == 9_900
    change = Change.objects.get(verb__startswith="entered roasted stock")
    assert (change.by, change.note) == (roaster, "spilt")


LINES = st.lists(
    st.tuples(
        st.sampled_from(["blended", "put back", "tasted", "wasted", "count"]),
        st.integers(1, 6_000),
        st.integers(0, 5),
        st.booleans(),
    ),
    max_size=14,
)


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(lines=LINES, held_from=st.integers(0, 14))
def test_no_history_leaves_less_than_nothing(
    lines: list[tuple[str, int, int, bool]], held_from: int
) -> None:
    """Actions, the database and a plain list agree on every line, at every date."""
    with transaction.atomic():
        batch = things.batch(roasted_g=10_000)
        kept: list[tuple[int, int]] = []
        for number, (kind, size, after, minus) in enumerate(lines):
            if number == held_from:
                Batch.objects.filter(pk=batch.pk).update(verdict="hold")
            mass_g = size if kind == "put back" or (kind == "count" and minus) else -size
            then = [*kept, (after, mass_g)]
            fits = all(10_000 + sum(m for d, m in then if d <= to) >= 0 for to in range(after, 7))
            allowed = (fits or mass_g > 0) and not (kind == "blended" and number >= held_from)
            for write, refusal in ((straight, IntegrityError), (entry, InputError)):
                try:
                    with transaction.atomic():
                        write(batch, mass_g, after, kind)
                        transaction.set_rollback(write is straight)
                    assert allowed, (write, number)
                except refusal:
                    assert not allowed, (write, number)
            kept = then if allowed else kept
        for to in range(7):
            assert on_hand(batch, to) == 10_000 + sum(m for d, m in kept if d <= to) >= 0
        transaction.set_rollback(True)


def test_stock_is_read_in_one_statement(django_assert_num_queries: Any) -> None:
    for _ in range(3):
        entry(things.batch(), -100)
    with django_assert_num_queries(1):
        assert len(queries.roasted_on_hand()) == 3
    assert connection.vendor in {"sqlite", "postgresql"}
