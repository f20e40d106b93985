"""Reads about guest tests."""

from __future__ import annotations

from django.db.models import Count, Prefetch, Q, QuerySet

from coupage.web.guests.models import Answer, CupSet, GuestTest, Side, Tray

__all__ = ["answered_sets", "guest_tests", "next_set", "sets_of", "trays_of", "valid_answers"]


def guest_tests() -> QuerySet[GuestTest]:
    """Return all tests with their sides and how many answers there are of how many."""
    return (
        GuestTest.objects.select_related("made_by")
        .prefetch_related(Prefetch("sides", queryset=Side.objects.order_by("letter")))
        .annotate(
            set_count=Count("trays__sets", distinct=True),
            answer_count=Count(
                "trays__sets__answers",
                filter=Q(trays__sets__answers__void=False),
                distinct=True,
            ),
        )
    )


def trays_of(test: GuestTest) -> QuerySet[Tray]:
    """Return the trays of a test with their sets and all answers, those taken back too."""
    answers = Answer.objects.select_related("by")
    sets = CupSet.objects.prefetch_related(Prefetch("answers", queryset=answers))
    return test.trays.order_by("number").prefetch_related(Prefetch("sets", queryset=sets))


def sets_of(test: GuestTest) -> QuerySet[CupSet]:
    """Return the sets of a test in the order of trays."""
    return (
        CupSet.objects.filter(tray__test=test)
        .select_related("tray")
        .order_by("tray__number", "turn")
    )


def valid_answers(test: GuestTest) -> QuerySet[Answer]:
    """Return the answers that count, in the order in which they were given."""
    return (
        Answer.objects.filter(cups__tray__test=test, void=False)
        .select_related("cups__tray")
        .order_by("at", "id")
    )


def answered_sets(test: GuestTest) -> set[int]:
    """Return the keys of the sets that have an answer that counts."""
    return set(valid_answers(test).values_list("cups_id", flat=True))


def next_set(test: GuestTest, after: CupSet | None = None) -> CupSet | None:
    """Return the set that waits next for an answer: behind this one, else the first of all."""
    answered = answered_sets(test)
    waiting = [each for each in sets_of(test) if each.pk not in answered]
    if after is not None:
        here = (after.tray.number, after.turn)
        behind = [each for each in waiting if (each.tray.number, each.turn) > here]
        waiting = behind or waiting
    return waiting[0] if waiting else None
