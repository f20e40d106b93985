"""Writes while a test runs: opened, trays taken, answers given and taken back, closed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from django.db import transaction

from coupage.errors import InputError
from coupage.web.guests.actions.planning import locked
from coupage.web.guests.models import Answer, CupSet, GuestTest, Tray
from coupage.web.live.joining import revoke_code
from coupage.web.people import history
from coupage.web.people.models import Person

__all__ = [
    "close_test",
    "enter_answer",
    "give_answer",
    "name_tray",
    "open_test",
    "put_answer_back",
    "reopen_test",
    "take_answer_back",
    "take_tray",
]

State = GuestTest.State


@transaction.atomic
def open_test(*, test: GuestTest, by: Person, at: dt.datetime) -> GuestTest:
    """Open a test: from here on the cups stay as they are and answers are taken."""
    test = locked(test.pk, State.PLANNED)
    test.state, test.opened_at = State.OPEN, at
    test.save(update_fields=["state", "opened_at"])
    history.record(test, verb="opened", by=by, at=at)
    return test


@transaction.atomic
def close_test(*, test: GuestTest, by: Person, at: dt.datetime) -> GuestTest:
    """Close a test and show what was in the cups.

    Raises
    ------
    InputError
        When it is not under way, or nobody answered yet.
    """
    test = locked(test.pk, State.OPEN)
    if not Answer.objects.filter(cups__tray__test=test, void=False).exists():
        raise InputError(f"{test} has no answer yet; there is nothing to judge")
    test.state, test.closed_at = State.CLOSED, at
    test.save(update_fields=["state", "closed_at"])
    revoke_code(kind="guests", key=test.pk, at=at)
    history.record(test, verb="closed", by=by, at=at)
    return test


@transaction.atomic
def reopen_test(*, test: GuestTest, reason: str, by: Person, at: dt.datetime) -> GuestTest:
    """Open a closed test again. That its answer was seen before is kept, and said with the verdict.

    Raises
    ------
    InputError
        When it is not closed, or no reason is given.
    """
    test = locked(test.pk, State.CLOSED)
    reason = _reason(reason, "why the test is opened again")
    test.state, test.closed_at, test.reopened = State.OPEN, None, test.reopened + 1
    test.save(update_fields=["state", "closed_at", "reopened"])
    history.record(test, verb="opened again", by=by, at=at, note=reason)
    return test


@transaction.atomic
def take_tray(*, test: GuestTest, guest: str, at: dt.datetime) -> Tray:
    """Give a guest the next free tray, or the one they have already under that name.

    Raises
    ------
    InputError
        When the test is not under way, the name is empty, or all trays are taken.
    """
    test = locked(test.pk, State.OPEN)
    guest = " ".join(guest.split())
    if not guest:
        raise InputError("say who tastes: a first name will do")
    own = test.trays.filter(guest__iexact=guest).first()
    if own is not None:
        return own
    free = test.trays.filter(guest="").exclude(sets__answers__void=False).order_by("number")
    tray = free.first()
    if tray is None:
        raise InputError("every tray is taken; ask the host to deal one more")
    tray.guest, tray.taken_at = guest, at
    tray.save()
    return tray


@transaction.atomic
def name_tray(*, tray: Tray, guest: str, at: dt.datetime) -> Tray:
    """Say who has a tray; an empty name is no name.

    Raises
    ------
    InputError
        When somebody of that name has another tray of this test.
    """
    guest = " ".join(guest.split())[:60]
    if guest == tray.guest:
        return tray
    others = Tray.objects.filter(test=tray.test_id).exclude(pk=tray.pk)
    if guest and (other := others.filter(guest__iexact=guest).first()) is not None:
        raise InputError(
            f"{guest} has tray {other.number} already; add a letter to the name if these are two "
            "people"
        )
    tray.guest, tray.taken_at = guest, at if guest else None
    tray.save()
    return tray


@transaction.atomic
def give_answer(
    *,
    cups: CupSet,
    picked: Iterable[int],
    key: str,
    by: Person | None,
    at: dt.datetime,
    remark: str = "",
) -> Answer:
    """Keep an answer. The same answer sent twice, known by its key, is kept once.

    Raises
    ------
    InputError
        When the test is not under way, the set has an answer, or the wrong number of cups is
        pointed at.
    """
    # Held first: of one answer that is sent twice at once, the second waits and finds the first.
    test = locked(cups.tray.test_id)
    sent = Answer.objects.filter(key=key).first()
    if sent is not None:
        return sent
    if test.state != State.OPEN:
        raise InputError(f"{test} takes no answers now: it is {test.get_state_display()}")
    places = sorted(set(picked))
    wanted = 2 if test.kind == GuestTest.Kind.TETRAD else 1
    if len(places) != wanted or any(not 0 <= place < len(cups.order) for place in places):
        raise InputError("point at two cups" if wanted == 2 else "point at one cup")
    if cups.answers.filter(void=False).exists():
        raise InputError(f"{cups} has an answer already; take that one back first")
    answer = Answer.objects.create(
        cups=cups,
        picked="".join(map(str, places)),
        remark=remark.strip()[:200],
        key=key,
        by=by,
        at=at,
    )
    note = f"{_where(cups)}, from a phone" if by is None else _where(cups)
    history.record(test, verb="took an answer", by=by, at=at, note=note)
    return answer


@transaction.atomic
def enter_answer(
    *,
    cups: CupSet,
    guest: str,
    picked: Iterable[int],
    key: str,
    by: Person,
    at: dt.datetime,
    remark: str = "",
) -> Answer:
    """Keep an answer that the host enters, with who gave it.

    Raises
    ------
    InputError
        As `give_answer` and `name_tray`.
    """
    answer = give_answer(cups=cups, picked=picked, key=key, by=by, at=at, remark=remark)
    if guest.strip():
        name_tray(tray=cups.tray, guest=guest, at=at)
    return answer


@transaction.atomic
def take_answer_back(*, answer: Answer, reason: str, by: Person | None, at: dt.datetime) -> Answer:
    """Let an answer count no more; it stays with the reason, and the set waits again.

    Raises
    ------
    InputError
        When no reason is given, or it was taken back already.
    """
    test = locked(answer.cups.tray.test_id)
    reason = _reason(reason, "why the answer is taken back")
    if not Answer.objects.filter(pk=answer.pk, void=False).update(void=True, void_reason=reason):
        raise InputError("this answer was taken back already")
    history.record(
        test, verb="took an answer back", by=by, at=at, note=f"{_where(answer.cups)}; {reason}"
    )
    return Answer.objects.get(pk=answer.pk)


@transaction.atomic
def put_answer_back(*, answer: Answer, by: Person, at: dt.datetime) -> Answer:
    """Let an answer that was taken back count again.

    Raises
    ------
    InputError
        When it counts already, or the set was answered anew.
    """
    test = locked(answer.cups.tray.test_id)
    if answer.cups.answers.filter(void=False).exists():
        raise InputError(f"{answer.cups} has another answer by now; take that one back first")
    Answer.objects.filter(pk=answer.pk).update(void=False, void_reason="")
    note = _where(answer.cups)
    history.record(test, verb="let an answer count again", by=by, at=at, note=note)
    return Answer.objects.get(pk=answer.pk)


def _where(cups: CupSet) -> str:
    """Name a set for people: its tray, and its turn where a tray has several."""
    several = cups.tray.sets.count() > 1
    return f"{cups.tray}, set {cups.turn}" if several else str(cups.tray)


def _reason(text: str, what: str) -> str:
    said = text.strip()[:200]
    if not said:
        raise InputError(f"say {what}; it stays in the history")
    return said
