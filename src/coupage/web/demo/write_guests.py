"""Guest tests of the demo: one that is closed and one that is under way."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from coupage.web.blends.models import Recipe
from coupage.web.guests import queries
from coupage.web.guests.actions import planning, running
from coupage.web.guests.models import Answer, CupSet, GuestTest, Side, Tray

if TYPE_CHECKING:
    from coupage.web.demo.write import Writer

__all__ = ["write_guests"]

_SEED = 41
_GUESTS = (
    *("Alma", "Bertil", "Cosima", "Dov", "Enja", "Fabrice", "Greta", "Hamid", "Ines", "Jonne"),
    *("Kasimir", "Liv", "Malou", "Nils", "Ottoline", "Piet", "Quirine", "Rafe", "Solveig", "Teun"),
    *("Ulla", "Vico", "Wanda", "Xandra", "Yorick", "Zora", "Anneke", "Basse", "Carla", "Dries"),
    *("Elif", "Femke", "Gustav", "Hanneke", "Ivo", "Jule", "Kees", "Lotta", "Marek"),
)


@dataclass(frozen=True, slots=True)
class _Run:
    """A test as it went: when it began, how many answered, and how many of them were right."""

    days_ago: int
    minute: int
    answered: int
    right: int
    closed: bool


def write_guests(writer: Writer) -> None:
    """Write both tests, the second while it is under way."""
    second, third = (
        Recipe.objects.select_related("blend").get(blend__name="Ropewalk", version=version)
        for version in (2, 3)
    )
    _write(
        writer,
        GuestTest(
            name="Counter test",
            question=GuestTest.Question.LIKENESS,
            alpha_ppm=200_000,
            beta_ppm=50_000,
            tasters=39,
            note="May recipe 3 follow recipe 2 without a word on the menu?",
        ),
        [Side(label=str(row), recipe=row) for row in (second, third)],
        _Run(days_ago=6, minute=10 * 60, answered=39, right=13, closed=True),
    )
    newest = sorted(writer.scenario.batches, key=lambda plan: (plan.days_ago, plan.key))
    first = newest[0]
    other = next(plan for plan in newest[1:] if plan.approach == first.approach)
    sides = [writer.batch[plan.key] for plan in (other, first)]
    _write(
        writer,
        GuestTest(name="Regulars, this morning", kind=GuestTest.Kind.TETRAD, tasters=18),
        [Side(label=f"batch {batch.number}", batch=batch) for batch in sides],
        _Run(days_ago=0, minute=9 * 60, answered=7, right=3, closed=False),
    )


def _write(writer: Writer, test: GuestTest, sides: Sequence[Side], run: _Run) -> None:
    idris, rng = writer.person["idris"], np.random.default_rng(_SEED)
    begun = writer.moment(run.days_ago, run.minute)
    planned = begun - dt.timedelta(hours=18)
    test = planning.add_test(test=test, sides=sides, by=idris, at=planned, rng=rng)
    running.open_test(test=test, by=idris, at=begun)
    sets = list(queries.sets_of(test)[: run.answered])
    lucky = {int(i) for i in rng.permutation(run.answered)[: run.right]}
    trays = [each.tray for each in sets]
    for tray, name in zip(trays, _GUESTS, strict=False):
        tray.guest, tray.taken_at = name, begun
    Tray.objects.bulk_update(trays, ["guest", "taken_at"])
    Answer.objects.bulk_create(
        Answer(
            cups=each,
            picked=_picked(test, each, right=i in lucky),
            key=f"demo-{each.pk}",
            at=begun + dt.timedelta(minutes=4 * (i + 1)),
        )
        for i, each in enumerate(sets)
    )
    if run.closed:
        end = begun + dt.timedelta(hours=4)
        running.close_test(test=test, by=idris, at=end)


def _picked(test: GuestTest, cups: CupSet, *, right: bool) -> str:
    """Point at the cups that are right, or at the first that are not."""
    answer = cups.room(test.kind).answer
    if not right:
        others = [place for place in range(len(cups.order)) if place not in answer]
        two = test.kind == GuestTest.Kind.TETRAD
        answer = frozenset([min(answer), others[0]] if two else others[:1])
    return "".join(map(str, sorted(answer)))
