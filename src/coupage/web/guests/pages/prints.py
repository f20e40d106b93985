"""Sheets of a test: what to pour, what to serve, slips to fill in, labels."""

from __future__ import annotations

from dataclasses import dataclass

from coupage.web.guests import queries
from coupage.web.guests.models import GuestTest, Side
from coupage.web.guests.pages.wording import instruction, question_of

__all__ = ["Pour", "Served", "all_codes", "pours", "served", "slip_words"]


@dataclass(frozen=True, slots=True)
class Pour:
    """Everything that is filled from one coffee."""

    side: Side
    codes: tuple[str, ...]
    references: tuple[str, ...]

    @property
    def cups(self) -> int:
        return len(self.codes) + len(self.references)


@dataclass(frozen=True, slots=True)
class Served:
    """One set as it is served: codes from left to right."""

    tray: int
    turn: int
    guest: str
    codes: tuple[str, ...]


def pours(test: GuestTest) -> tuple[Pour, ...]:
    """Return which codes are filled from which coffee: the key of the test."""
    sets = list(queries.sets_of(test))
    found = []
    for side in test.sides.select_related("batch", "recipe__blend").order_by("letter"):
        codes = [
            code
            for each in sets
            for code, cup in zip(each.places(), each.order, strict=True)
            if cup == side.letter
        ]
        references = [
            f"tray {each.tray.number}" + (f", set {each.turn}" if test.repeats > 1 else "")
            for each in sets
            if each.reference == side.letter
        ]
        found.append(Pour(side, tuple(sorted(codes)), tuple(references)))
    return tuple(found)


def served(test: GuestTest) -> tuple[Served, ...]:
    """Return every set in the order of trays, codes only."""
    return tuple(
        Served(each.tray.number, each.turn, each.tray.guest, tuple(each.places()))
        for each in queries.sets_of(test)
    )


def slip_words(test: GuestTest) -> tuple[str, str]:
    """Return what a paper slip tells and asks."""
    return instruction(test), question_of(test)


def all_codes(test: GuestTest) -> list[str]:
    """Return every code of the test, in order; R once for each reference."""
    sets = list(queries.sets_of(test))
    codes = sorted(code for each in sets for code in each.places())
    return codes + [f"R {each.tray.number}" for each in sets if each.reference]
