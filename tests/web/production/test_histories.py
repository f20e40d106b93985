"""Random histories of a whole roastery: nothing below nothing, kilograms reconcile, holds hold.

And two people at the same moment, and a process that is killed in the middle.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import textwrap
from collections.abc import Callable
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coupage.errors import InputError
from coupage.web.batches.actions import judge_batch
from coupage.web.batches.models import Batch, RoastedEntry
from coupage.web.batches.queries import stocked
from coupage.web.production import actions, queries
from coupage.web.production.models import BagEntry, BlendedEntry, DispatchLine, Packed, Run
from tests.web import things
from tests.web.production import making
from tests.web.production.making import TODAY
from tests.web.test_races import at_once

DEEDS = [
    "run", "run on a rest", "take back", "pack", "unpack", "open", "waste", "send", "return",
    "void dispatch", "close", "reopen", "void run", "hold run", "release run", "hold batch",
    "release batch", "taste",
]  # fmt: skip
STEPS = st.lists(
    st.tuples(st.sampled_from(DEEDS), st.integers(0, 3), st.integers(1, 5_000)), max_size=25
)


class House:
    """A small roastery on which deeds are tried; what is refused must leave no trace."""

    def __init__(self) -> None:
        self.by = things.person()
        self.recipe = making.recipe(100)
        self.batches = [making.batch_of(self.recipe, roasted_g=9_000) for _ in range(3)]
        self.customer = making.customer()
        self.pack = making.pack(self.recipe.blend, 250)
        self.when: dict[str, Any] = {"by": self.by, "at": things.NOW}

    def pick(self, rows: Any, n: int) -> Any:
        found = list(rows)
        if not found:
            raise InputError("there is none")
        return found[n % len(found)]

    def do(self, deed: str, n: int, amount: int) -> None:
        batch = Batch.objects.get(pk=self.batches[n % 3].pk)
        bags = amount // 250 + 1
        dated = self.when | {"on": TODAY}
        match deed:
            case "run":
                making.run({batch: amount}, of=self.recipe, by=self.by)
            case "run on a rest":
                rest = self.pick(Run.objects.all(), n)
                making.run({rest: amount, batch: 100}, of=self.recipe, by=self.by)
            case "take back":
                actions.take_back_lift(run=self.pick(Run.objects.all(), n), lift=1, **dated)
            case "pack":
                run = self.pick(Run.objects.all(), n)
                actions.pack_bags(run=run, pack=self.pack, bags=bags, **dated)
            case "unpack" | "open" | "waste":
                kind = {"unpack": "unpacked", "open": "opened", "waste": "wasted"}[deed]
                row = self.pick(Packed.objects.all(), n)
                actions.enter_bags(packed=row, kind=kind, bags=bags, reason="test", **dated)
            case "send":
                row = self.pick(Packed.objects.all(), n)
                actions.send_bags(customer=self.customer, bags={row: bags}, **dated)
            case "return":
                line = self.pick(DispatchLine.objects.all(), n)
                actions.receive_return(line=line, bags=bags, reason="test", **dated)
            case "void dispatch":
                line = self.pick(DispatchLine.objects.all(), n)
                actions.void_dispatch(dispatch=line.dispatch, reason="test", **self.when)
            case "close":
                run = self.pick(Run.objects.all(), n)
                actions.close_run(run=run, lost_g=n, left_g=amount, reason="test", **dated)
            case "reopen":
                actions.reopen_run(run=self.pick(Run.objects.all(), n), **self.when)
            case "void run":
                actions.void_run(run=self.pick(Run.objects.all(), n), reason="test", **dated)
            case "hold run":
                run = self.pick(Run.objects.all(), n)
                actions.hold_runs(runs=[run], reason="test", **self.when)
            case "release run":
                run = self.pick(Run.objects.all(), n)
                actions.release_runs(runs=[run], reason="test", **self.when)
            case "hold batch" | "release batch":
                verdict = deed.split()[0]
                judge_batch(batch=batch, verdict=verdict, reason="test", **self.when)
            case "taste":
                from coupage.web.batches.roasted import move_roasted

                move_roasted(batch=batch, kind="tasted", mass_g=-amount, **dated)


def books() -> tuple[Any, ...]:
    """Everything the ledgers say, to tell whether a refused deed left a trace."""
    return (
        list(RoastedEntry.objects.values_list("id", "mass_g")),
        list(BlendedEntry.objects.values_list("id", "mass_g")),
        list(BagEntry.objects.values_list("id", "bags")),
        list(Run.objects.values_list("id", "state", "held")),
        DispatchLine.objects.count(),
    )


def check_books() -> None:
    """Every gram that was roasted is somewhere, and nowhere is less than nothing."""
    made = sum(b.made_g for b in stocked())
    roasted = {b.pk: b.on_hand_g for b in stocked()}
    assert min(roasted.values(), default=0) >= 0
    lines = RoastedEntry.objects.values_list("kind", "mass_g")
    blended = -sum(g for kind, g in lines if kind in {"blended", "put back"})
    other = -sum(g for kind, g in lines if kind not in {"blended", "put back"})
    assert sum(roasted.values()) + blended + other == made

    runs = list(queries.runs())
    for run in runs:
        assert run.loose_g >= 0
        assert run.in_g + run.counted_g == run.packed_g + run.lost_g + run.reused_g + run.loose_g, (
            run
        )
    reused = sum(run.reused_g for run in runs)
    assert sum(run.in_g for run in runs) == blended + reused

    for row in queries.packed():
        assert row.on_hand >= 0
        assert row.out >= 0
    bag_lines = BagEntry.objects.exclude(kind__in=["sent", "returned", "wasted", "count"])
    still_packed = sum(
        e.bags * e.packed.pack.bag_g for e in bag_lines.select_related("packed__pack")
    )
    assert still_packed == sum(run.packed_g for run in runs)


@pytest.mark.django_db
@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(steps=STEPS)
def test_no_history_breaks_the_books(steps: list[tuple[str, int, int]]) -> None:
    with transaction.atomic():
        house = House()
        for deed, n, amount in steps:
            before = books()
            held = set(Run.objects.filter(held=True).values_list("pk", flat=True))
            sent = BagEntry.objects.filter(kind="sent").count()
            try:
                with transaction.atomic():
                    house.do(deed, n, amount)
            except InputError:
                assert books() == before
            check_books()
            new = BagEntry.objects.filter(kind="sent").order_by("-id")
            if new.count() > sent:
                assert new[0].packed.run_id not in held
        transaction.set_rollback(True)


# --- two at once ------------------------------------------------------------------------------


def told(raised: list[Exception | None]) -> list[str]:
    """Who was refused was told so in words; nothing else went wrong."""
    assert all(isinstance(error, InputError) for error in raised if error), raised
    return [str(error) for error in raised if error]


def test_the_last_kilogram_is_planned_and_weighed_once(shared: None) -> None:
    recipe = making.recipe(100)
    batch = making.batch_of(recipe, roasted_g=10_000)
    people = [things.person(), things.person()]

    def plan(n: int) -> Callable[[], Any]:
        return lambda: making.run({batch: 6_000}, of=recipe, by=people[n])

    assert len(told(at_once(plan(0), plan(1)))) == 1
    assert stocked().get(pk=batch.pk).on_hand_g == 4_000
    run = Run.objects.get()
    rest = making.pack(recipe.blend, 1_000)

    def pack(n: int) -> Callable[[], Any]:
        return lambda: actions.pack_bags(
            run=run, pack=rest, bags=4, on=TODAY, by=people[n], at=things.NOW
        )

    assert len(told(at_once(pack(0), pack(1)))) == 1
    check_books()


def test_two_who_send_the_last_bags_send_them_once(shared: None) -> None:
    row = making.packed(making.run({things.batch(): 5_000}), 10)
    people = [things.person(), things.person()]
    customers = [making.customer(), making.customer()]

    def send(n: int) -> Callable[[], Any]:
        return lambda: making.sent(customers[n], {row: 7}, people[n])

    assert len(told(at_once(send(0), send(1)))) == 1
    assert queries.packed().get().on_hand == 3

    def past(n: int) -> Callable[[], Any]:
        """Past the actions, as a script would: the database alone is enough."""

        def write() -> None:
            with transaction.atomic():
                BagEntry.objects.create(
                    packed=row, kind="wasted", bags=-2, on=TODAY, at=things.NOW, reason=str(n)
                )

        return write

    raised = at_once(past(0), past(1))
    assert [isinstance(error, DatabaseError) for error in raised if error] == [True], raised
    assert queries.packed().get().on_hand == 1


def test_two_runs_that_begin_at_once_get_two_codes(shared: None) -> None:
    recipe = making.recipe(100)
    batches = [making.batch_of(recipe), making.batch_of(recipe)]
    by = things.person()

    def begin(n: int) -> Callable[[], Any]:
        return lambda: making.run({batches[n]: 1_000}, of=recipe, by=by)

    assert told(at_once(begin(0), begin(1))) == []
    assert set(Run.objects.values_list("lot_code", flat=True)) == {"140326-1", "140326-2"}


KILLED = """
    import os, signal, sys
    import django
    django.setup()
    from django.conf import settings
    from django.db import connection
    settings.DATABASES["default"]["NAME"] = connection.settings_dict["NAME"] = sys.argv[1]
    from coupage.web.production import actions
    from coupage.web.production.models import BlendedEntry, RoastedEntry, Run
    from coupage.web.people.models import Person
    import datetime as dt

    steps = iter(range(99))
    save = BlendedEntry.save
    def die_on_the_second(self, *a, **k):
        if next(steps) == 1:
            os.kill(os.getpid(), signal.SIGKILL)
        save(self, *a, **k)
    BlendedEntry.save = die_on_the_second

    run = Run.objects.get()
    weights = {part: part.per_lift_g[0] for part in run.parts.all()}
    actions.weigh_lift(
        run=run, lift=1, weights=weights, on=run.on, by=Person.objects.first(),
        at=dt.datetime.now(dt.UTC),
    )
"""


def test_a_process_killed_between_two_lines_leaves_neither(shared: None) -> None:
    """The first batch was drawn, the second not yet, when the power went."""
    recipe = making.recipe(60, 40)
    a, b = making.batch_of(recipe, 0), making.batch_of(recipe, 1)
    by = things.person()
    run = making.run({a: 3_000, b: 2_000}, of=recipe, weigh=False, by=by)
    name = str(connection.settings_dict["NAME"])
    environment = {**os.environ, "DJANGO_SETTINGS_MODULE": "coupage.web.settings"}
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(KILLED), name],
        env=environment,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == -signal.SIGKILL, done.stderr
    assert not BlendedEntry.objects.exists()
    assert not RoastedEntry.objects.exists()
    check_books()
    weights = {part: part.planned_g for part in run.parts.all()}
    actions.weigh_lift(run=run, lift=1, weights=weights, on=TODAY, by=by, at=things.NOW)
    assert queries.runs().get().in_g == 5_000
    check_books()
