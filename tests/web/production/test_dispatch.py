"""Bags sent, come back, and dispatches that did not happen."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import IntegrityError, transaction

from coupage.errors import InputError
from coupage.web.orders.models import Order
from coupage.web.people.models import Person
from coupage.web.production import actions, queries
from coupage.web.production.models import BagEntry, Packed
from tests.web import things
from tests.web.production import making
from tests.web.production.making import TODAY

pytestmark = pytest.mark.django_db


@pytest.fixture
def row() -> Packed:
    """Forty bags of 250 g."""
    return making.packed(making.run({things.batch(): 10_000}), 40)


def shelf(row: Packed) -> tuple[int, int, int]:
    found = queries.packed().get(pk=row.pk)
    return found.made, found.on_hand, found.out


def test_what_is_sent_is_out_and_the_order_is_sent(row: Packed) -> None:
    counter = making.customer()
    order = Order.objects.create(number="A-1", customer=counter, due_on=TODAY)
    making.sent(counter, {row: 12}, order=order)
    assert shelf(row) == (40, 28, 12)
    order.refresh_from_db()
    assert order.state == "sent"
    with pytest.raises(InputError, match="sent already"):
        making.sent(counter, {row: 1}, order=order)
    with pytest.raises(InputError, match="not an order of"):
        making.sent(making.customer(), {row: 1}, order=order)


def test_more_than_is_there_cannot_be_sent(row: Packed) -> None:
    with pytest.raises(InputError, match="only 40 bags"):
        making.sent(making.customer(), {row: 41})
    assert not BagEntry.objects.filter(kind="sent").exists()
    with pytest.raises(InputError, match="at least one lot"):
        making.sent(making.customer(), {row: 0})


def test_what_comes_back_stands_on_the_shelf_again(row: Packed, roaster: Person) -> None:
    line = making.sent(making.customer(), {row: 12}).lines.get()
    back = {"line": line, "on": TODAY, "by": roaster, "at": things.NOW}
    actions.receive_return(bags=5, reason="too many", **back)
    assert shelf(row) == (40, 33, 7)
    for bags, reason, says in (
        (8, "more", "only 7 bags"),
        (0, "none", "at least 1"),
        (1, "", "say why"),
    ):
        with pytest.raises(InputError, match=says):
            actions.receive_return(bags=bags, reason=reason, **back)
    with pytest.raises(IntegrityError, match="cannot come back"), transaction.atomic():
        BagEntry.objects.create(
            packed=row, kind="returned", bags=8, on=TODAY, at=things.NOW, reason="x", line=line
        )


def test_a_dispatch_that_did_not_happen_leaves_shelf_and_order_as_before(
    row: Packed, roaster: Person
) -> None:
    counter = making.customer()
    order = Order.objects.create(number="A-1", customer=counter, due_on=TODAY)
    dispatch = making.sent(counter, {row: 12}, order=order)
    with pytest.raises(InputError, match="say why"):
        actions.void_dispatch(dispatch=dispatch, reason="", by=roaster, at=things.NOW)
    actions.void_dispatch(dispatch=dispatch, reason="wrong door", by=roaster, at=things.NOW)
    assert shelf(row) == (40, 40, 0)
    order.refresh_from_db()
    assert order.state == "open"
    with pytest.raises(InputError, match="void already"):
        actions.void_dispatch(dispatch=dispatch, reason="again", by=roaster, at=things.NOW)


def test_what_is_on_the_shelf_at_a_date_is_a_sum(row: Packed, roaster: Person) -> None:
    later = TODAY + dt.timedelta(days=3)
    actions.enter_bags(
        packed=row, kind="wasted", bags=2, on=later, by=roaster, at=things.NOW, reason="burst"
    )
    blend, size = row.pack.blend_id, row.pack.bag_g
    assert queries.packed_on_hand(TODAY) == {(blend, size): 40}
    assert queries.packed_on_hand(later) == {(blend, size): 38}
    assert queries.packed_on_hand(TODAY - dt.timedelta(days=1)) == {}
    with pytest.raises(InputError, match="only 38 bags"):
        making.sent(making.customer(), {row: 39})


def test_opened_bags_are_loose_again(row: Packed, roaster: Person) -> None:
    entry = {"packed": row, "on": TODAY, "by": roaster, "at": things.NOW}
    actions.enter_bags(kind="opened", bags=3, reason="seal leaks", **entry)
    assert shelf(row)[1] == 37
    assert queries.runs().get(pk=row.run_id).loose_g == 750
    with pytest.raises(InputError, match="say why"):
        actions.enter_bags(kind="count", bags=-1, **entry)
    with pytest.raises(InputError, match="not one of"):
        actions.enter_bags(kind="sent", bags=1, reason="x", **entry)
