"""Two deeds at the same moment at one table."""

from __future__ import annotations

import threading
from collections.abc import Callable
from decimal import Decimal

import pytest
from django.db import transaction

from coupage.errors import InputError
from coupage.web.cuppings.actions.life import open_cupping, reveal_cupping
from coupage.web.cuppings.actions.ratings import rate, say_words
from coupage.web.cuppings.actions.setup import add_seat
from coupage.web.cuppings.models import Cupping, Rating, Seat, Serving, Word
from coupage.web.people.models import Change
from tests.web import things
from tests.web.test_races import at_once

pytestmark = pytest.mark.usefixtures("shared")


def rating(table: Cupping, value: str) -> Callable[[], None]:
    seat, cup = table.seats.all()[0], table.cups.all()[0]
    cell = (table.rounds.all()[0].pk, table.asked.all()[0].attribute_id)
    return lambda: rate(seat=seat, cup=cup, values={cell: Decimal(value)}, by=None, at=things.NOW)


def test_two_saves_of_one_cell_both_succeed_and_leave_one_rating() -> None:
    table = things.cupping()
    for _ in range(5):
        assert at_once(rating(table, "4"), rating(table, "7")) == [None, None]
        assert Rating.objects.get().value in {Decimal(4), Decimal(7)}


def test_the_same_word_said_twice_at_once_is_kept_once() -> None:
    table = things.cupping()
    seat, cup = table.seats.all()[0], table.cups.all()[0]

    def say() -> None:
        say_words(seat=seat, cup=cup, words=["plum"])

    assert at_once(say, say) == [None, None]
    assert Word.objects.count() == 1


def test_of_two_reveals_at_once_the_second_is_told() -> None:
    person, table = things.person(), things.cupping()

    def reveal() -> None:
        reveal_cupping(cupping=table, by=person, at=things.NOW)

    raised = at_once(reveal, reveal)
    assert [type(error) for error in raised if error] == [InputError], raised
    assert Change.objects.filter(verb="closed and revealed").count() == 1


def test_a_rating_sent_while_the_table_is_being_revealed_waits_and_is_refused() -> None:
    """The reveal has happened but is not committed yet: the rating must not slip in behind it."""
    person, table = things.person(), things.cupping()
    send = rating(table, "4")
    raised: list[Exception | None] = []
    with transaction.atomic():
        reveal_cupping(cupping=table, by=person, at=things.NOW)
        late = threading.Thread(target=lambda: raised.extend(at_once(send)))
        late.start()
        late.join(0.5)
        assert late.is_alive()
    late.join(30)
    assert [type(error) for error in raised] == [InputError]
    assert not Rating.objects.exists()


def test_two_openings_at_once_deal_one_order_per_seat() -> None:
    person, table = things.person(), things.cupping(state="planned")
    Serving.objects.filter(seat__cupping=table).delete()

    def open_it() -> None:
        open_cupping(cupping=table, by=person, at=things.NOW)

    raised = at_once(open_it, open_it)
    assert [type(error) for error in raised if error] == [InputError], raised
    assert Serving.objects.filter(seat__cupping=table).count() == 4


def test_a_taster_seated_twice_at_once_has_one_seat() -> None:
    person, taster, table = things.person(), things.taster(), things.cupping()

    def seat() -> None:
        add_seat(cupping=table, taster=taster, by=person, at=things.NOW)

    raised = at_once(seat, seat)
    assert [type(error) for error in raised if error] == [InputError], raised
    assert Seat.objects.filter(taster=taster).count() == 1
