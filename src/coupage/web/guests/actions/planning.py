"""Writes that plan a test and deal its cups."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence

import numpy as np
from django.db import transaction

from coupage.difference import cup_sets
from coupage.errors import InputError
from coupage.table import blind_codes
from coupage.units import show_share
from coupage.web.common.revisions import take_revision
from coupage.web.guests.models import MOST_TRAYS, CupSet, GuestTest, Side, Tray
from coupage.web.people import history
from coupage.web.people.models import Person

__all__ = ["add_test", "change_test", "deal_more", "locked"]

PLAN_FIELDS = (
    "name",
    "question",
    "kind",
    "asked_for",
    "share_ppm",
    "alpha_ppm",
    "beta_ppm",
    "tasters",
    "repeats",
    "stops_early",
    "note",
)
# A multiple of 2, 3 and 4 below the number of codes there are: no set has one code twice.
_CODES_AT_ONCE = 540


def locked(pk: int, state: str = "") -> GuestTest:
    """Return a test, held for this transaction, that is in the state asked for.

    Raises
    ------
    InputError
        When it is not.
    """
    test = GuestTest.objects.select_for_update().get(pk=pk)
    if state and test.state != state:
        wanted = GuestTest.State(state).label
        raise InputError(f"{test} is {test.get_state_display()}, not {wanted}")
    if state and test.archived:
        raise InputError(f"{test} is put away; take it out again first")
    return test


@transaction.atomic
def add_test(
    *,
    test: GuestTest,
    sides: Sequence[Side],
    by: Person,
    at: dt.datetime,
    rng: np.random.Generator | None = None,
) -> GuestTest:
    """Save a planned test with its two sides, and deal its trays.

    What one row can say is checked by the form, which names the field, and by the database.
    """
    test.made_by, test.made_at = by, at
    test.full_clean(validate_constraints=False)
    test.save()
    _write_sides(test, sides)
    _deal(test, range(1, test.tasters + 1), rng)
    history.record(test, verb="planned", by=by, at=at, after=_now(test))
    return test


@transaction.atomic
def change_test(
    *, test: GuestTest, sides: Sequence[Side], revision: int, by: Person, at: dt.datetime
) -> GuestTest:
    """Ask a planned test differently: new sides and numbers, trays dealt anew.

    Raises
    ------
    StaleError
        When somebody else changed the test meanwhile.
    InputError
        When it was opened already.
    """
    take_revision(GuestTest, test.pk, revision)
    before = _now(locked(test.pk, GuestTest.State.PLANNED))
    test.full_clean(validate_constraints=False)
    test.save(update_fields=PLAN_FIELDS)
    test.sides.all().delete()
    test.trays.all().delete()
    _write_sides(test, sides)
    _deal(test, range(1, test.tasters + 1), None)
    history.record(test, verb="changed", by=by, at=at, before=before, after=_now(test))
    return test


@transaction.atomic
def deal_more(*, test: GuestTest, trays: int, by: Person, at: dt.datetime) -> GuestTest:
    """Deal further trays for guests who came besides those planned.

    Raises
    ------
    InputError
        When the test is closed, or there would be too many trays.
    """
    test = locked(test.pk)
    if test.state == GuestTest.State.CLOSED:
        raise InputError(f"{test} is closed; plan another test")
    if trays < 1 or test.tasters + trays > MOST_TRAYS:
        raise InputError(
            f"{trays} further trays were asked for; a test has at most {MOST_TRAYS}, and "
            f"{test.tasters} are there"
        )
    before = {"trays": test.tasters}
    _deal(test, range(test.tasters + 1, test.tasters + trays + 1), None)
    test.tasters += trays
    test.save(update_fields=["tasters"])
    history.record(
        test,
        verb="dealt more trays for",
        by=by,
        at=at,
        before=before,
        after={"trays": test.tasters},
    )
    return test


def _write_sides(test: GuestTest, sides: Sequence[Side]) -> None:
    first, second = sides
    if first.label == second.label:
        raise InputError(f"both coffees are called {first.label}; give them names that differ")
    for letter, side in zip("AB", sides, strict=True):
        side.pk, side.test, side.letter = None, test, letter
        side.full_clean(validate_constraints=False)
        side.save()


def _deal(test: GuestTest, numbers: range, rng: np.random.Generator | None) -> None:
    """Give each tray its sets, balanced over all of these trays, under codes of their own."""
    rng = np.random.default_rng() if rng is None else rng
    dealt = cup_sets(test.kind, len(numbers), test.repeats, rng)  # type: ignore[arg-type]
    trays = Tray.objects.bulk_create(Tray(test=test, number=number) for number in numbers)
    cups = sum(len(each.order) for hand in dealt for each in hand)
    used = " ".join(CupSet.objects.filter(tray__test=test).values_list("codes", flat=True)).split()
    codes = _codes(cups, used, rng)
    CupSet.objects.bulk_create(
        CupSet(
            tray=tray,
            turn=turn,
            order=each.order,
            reference=each.reference,
            codes=" ".join(next(codes) for _ in each.order),
        )
        for tray, hand in zip(trays, dealt, strict=True)
        for turn, each in enumerate(hand, start=1)
    )


def _codes(cups: int, used: Sequence[str], rng: np.random.Generator) -> Iterator[str]:
    """Draw codes, none twice while there are any left."""
    while cups > 0:
        avoid = set(used) if len(set(used)) + cups <= _CODES_AT_ONCE else set()
        some = min(cups, _CODES_AT_ONCE)
        yield from blind_codes(some, rng, avoid=avoid)
        cups -= some


def _now(test: GuestTest) -> dict[str, object]:
    """Say a test for the history; which cup holds what is left out."""
    return {
        "test": test.kind,
        "question": test.get_question_display(),
        "coffees": " and ".join(side.label for side in test.sides.order_by("letter")),
        "size": f"{test.tasters} tasters, {test.repeats} each",
        "share": show_share(test.share_ppm),
        "risks": f"{show_share(test.alpha_ppm)}, {show_share(test.beta_ppm)}",
        "stops early": "yes" if test.stops_early else "no",
    }
