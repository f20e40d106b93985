"""One set of cups whose answer is entered by the host."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import Http404
from django.urls import reverse

from coupage.web.guests import queries
from coupage.web.guests.models import Answer, CupSet, GuestTest, Tray
from coupage.web.guests.pages.wording import instruction, question_of

__all__ = ["EntryPage", "cups_at", "entry_page"]


@dataclass(frozen=True, slots=True)
class Dot:
    """A set in the row of all: its number, whether it is answered, and where it is entered."""

    label: str
    done: bool
    here: bool
    href: str


@dataclass(frozen=True, slots=True)
class EntryPage:
    test: GuestTest
    tray: Tray
    cups: CupSet
    codes: tuple[str, ...]
    instruction: str
    question: str
    answer: Answer | None
    said: str
    dots: tuple[Dot, ...]
    done: int


def cups_at(test: GuestTest, tray: int, turn: int) -> CupSet:
    """Return the set at a place of a tray, or 404."""
    found = queries.sets_of(test).filter(tray__number=tray, turn=turn).first()
    if found is None:
        raise Http404("There is no such tray.")
    return found


def entry_page(test: GuestTest, cups: CupSet) -> EntryPage:
    """Compute what the page of one set shows."""
    answered = queries.answered_sets(test)
    codes = cups.places()
    answer = cups.answers.filter(void=False).select_related("by").first()
    said = ", ".join(codes[place] for place in sorted(answer.places())) if answer else ""
    return EntryPage(
        test=test,
        tray=cups.tray,
        cups=cups,
        codes=tuple(codes),
        instruction=instruction(test),
        question=question_of(test),
        answer=answer,
        said=said,
        dots=tuple(
            Dot(
                label=str(each.tray.number) + (f".{each.turn}" if test.repeats > 1 else ""),
                done=each.pk in answered,
                here=each.pk == cups.pk,
                href=reverse("guests:enter", args=[test.pk, each.tray.number, each.turn]),
            )
            for each in queries.sets_of(test)
        ),
        done=len(answered),
    )
