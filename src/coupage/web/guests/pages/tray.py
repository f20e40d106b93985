"""A guest's own tray on a phone: codes, one question at a time, and nothing else."""

from __future__ import annotations

from dataclasses import dataclass

from coupage.web.guests import queries
from coupage.web.guests.models import Answer, CupSet, GuestTest, Tray
from coupage.web.guests.pages.wording import instruction, question_of

__all__ = ["TrayPage", "last_answer", "tray_page"]


@dataclass(frozen=True, slots=True)
class TrayPage:
    """What a guest sees; ``cups`` is None when there is nothing left to answer."""

    test: GuestTest
    tray: Tray
    cups: CupSet | None
    codes: tuple[str, ...]
    instruction: str
    question: str
    done: int
    sets: int
    said: str
    is_open: bool


def last_answer(tray: Tray) -> Answer | None:
    """Return the answer that a guest gave last and that counts."""
    given = Answer.objects.filter(cups__tray=tray, void=False).select_related("cups__tray")
    return given.order_by("-at", "-id").first()


def tray_page(tray: Tray) -> TrayPage:
    """Compute what the page of a tray shows."""
    test = tray.test
    sets = list(queries.sets_of(test).filter(tray=tray))
    answered = queries.answered_sets(test)
    waiting = [each for each in sets if each.pk not in answered]
    is_open = test.state == GuestTest.State.OPEN and not test.archived
    cups = waiting[0] if waiting and is_open else None
    last = last_answer(tray)
    said = ""
    if last is not None:
        codes = last.cups.places()
        said = " and ".join(codes[place] for place in sorted(last.places()))
    return TrayPage(
        test=test,
        tray=tray,
        cups=cups,
        codes=tuple(cups.places()) if cups else (),
        instruction=instruction(test),
        question=question_of(test),
        done=len(sets) - len(waiting),
        sets=len(sets),
        said=said,
        is_open=is_open,
    )
