"""The list of guest tests."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Q

from coupage.web.common.listing import Choice, Filter, Listing
from coupage.web.common.requests import Request
from coupage.web.guests import queries
from coupage.web.guests.models import GuestTest
from coupage.web.guests.pages.verdict import verdicts_of

__all__ = ["TestRow", "TestsPage", "state_of", "tests_page"]

_TONES = {"planned": "quiet", "open": "attention", "closed": "action"}


@dataclass(frozen=True, slots=True)
class TestRow:
    """A test in the list; ``verdict`` is empty until it is closed."""

    test: GuestTest
    coffees: str
    answers: str
    state: str
    tone: str
    verdict: str


@dataclass(frozen=True, slots=True)
class TestsPage:
    tests: Listing[TestRow]
    none_yet: bool


def tests_page(request: Request) -> TestsPage:
    """Return the tests that the address asks for."""
    tests = Listing.of(
        request,
        queries.guest_tests(),
        search=("name", "note", "sides__label"),
        sorts={"name": "name", "kind": ("kind", "name"), "made": ("made_at", "id")},
        default="-made",
        filters=(
            Filter(
                "kept",
                "Show",
                (
                    Choice("running", "Not closed yet", Q(archived=False) & ~Q(state="closed")),
                    Choice("closed", "Closed", Q(archived=False, state="closed")),
                    Choice("use", "Both", Q(archived=False)),
                    Choice("away", "Put away", Q(archived=True)),
                ),
                default="use",
            ),
        ),
    )
    verdicts = verdicts_of([test for test in tests.rows if test.state == "closed"])
    return TestsPage(
        tests.map(lambda test: _row(test, verdicts.get(test.pk, ""))),
        not tests.found and not GuestTest.objects.exists(),
    )


def _row(test: GuestTest, verdict: str) -> TestRow:
    state, tone = state_of(test)
    return TestRow(
        test=test,
        coffees=" and ".join(side.label for side in test.sides.all()),
        answers=f"{getattr(test, 'answer_count', 0)} of {getattr(test, 'set_count', 0)}",
        state=state,
        tone=tone,
        verdict=verdict,
    )


def state_of(test: GuestTest) -> tuple[str, str]:
    """Return where a test stands, and the tone of its badge."""
    if test.archived:
        return "put away", "quiet"
    return test.get_state_display(), _TONES[test.state]
