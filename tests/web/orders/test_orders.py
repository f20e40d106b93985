"""Orders, customers and standing orders: what may be written, by whom, and what it adds up to."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext

from coupage.errors import InputError
from coupage.web.orders import actions, queries
from coupage.web.orders.models import Customer, Order, StandingOrder
from coupage.web.people import history
from coupage.web.people.models import Person
from tests.web import things
from tests.web.conftest import As

pytestmark = pytest.mark.django_db
DAY = things.NOW.date()  # a Saturday


@pytest.fixture
def client(roaster: Person, signed_in: As) -> Client:
    return signed_in(roaster)


def typed(*rows: tuple[object, object, object], **more: object) -> dict[str, object]:
    """What a browser sends for an order with these rows."""
    values: dict[str, object] = {"lines-TOTAL_FORMS": len(rows), "lines-INITIAL_FORMS": 0}
    for n, (blend, bag, count) in enumerate(rows):
        values |= {f"lines-{n}-blend": blend, f"lines-{n}-bag_g": bag, f"lines-{n}-bags": count}
    return values | {"due_on": "2026-03-18"} | more


def test_an_order_is_written_down_and_weighs_what_its_bags_hold(client: Client) -> None:
    blend, who = things.recipe().blend, things.customer()
    rows = ((blend.pk, "250", "24"), (blend.pk, "1000", "6"), ("", "", ""))
    answer = client.post("/orders/add/", typed(*rows, customer=who.pk), follow=True)
    assert "12.0 kg for" in answer.text
    order = queries.orders().get()
    assert (order.mass_g, order.number, order.state) == (12_000, "1001", "open")
    assert history.of(order).get().after["lines"] == [f"24 × 250 g {blend}", f"6 × 1000 g {blend}"]


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ((None, "250", ""), "Say how many bags."),
        ((None, "", "3"), "Say how much goes into one bag."),
        (("", "250", "3"), "Choose the blend that is wanted"),
        ((None, "5", "3"), "must be at least 10 g"),
        ((None, "250", "2.5"), "has more than 0 digits"),
        (("", "", ""), "Say what is wanted"),
    ],
)
def test_a_row_that_is_not_whole_is_told_and_nothing_typed_is_lost(
    client: Client, row: tuple[object, str, str], says: str
) -> None:
    blend, who = things.recipe().blend, things.customer()
    sent = (blend.pk if row[0] is None else row[0], *row[1:])
    answer = client.post("/orders/add/", typed(sent, customer=who.pk, note="back door"))
    assert says in answer.text
    assert "back door" in answer.text
    assert not Order.objects.exists()


def test_the_same_blend_and_bag_twice_is_to_be_added_up(client: Client) -> None:
    blend = things.recipe().blend
    rows = [(blend.pk, "250", "2"), (blend.pk, "250", "3")]
    answer = client.post("/orders/add/", typed(*rows, customer=things.customer().pk))
    assert "stands here twice" in answer.text


def test_of_two_people_who_change_an_order_the_second_is_told(client: Client) -> None:
    order = things.order()
    line = order.lines.get()
    row = (line.blend_id, "500", "7")
    sent = typed(row, customer=order.customer_id, number=order.number, revision=1)
    address = f"/orders/{order.pk}/change/"
    assert client.post(address, sent).status_code == 302
    answer = client.post(address, sent | {"lines-0-bags": "9"})
    assert "Somebody else saved this first" in answer.text
    assert order.lines.get().bags == 7


def test_an_order_that_is_packed_stays_as_it_was_until_it_is_opened(
    client: Client, roaster: Person
) -> None:
    order = things.order()
    address = f"/orders/{order.pk}/state/"
    client.post(address, {"state": "packed"})
    order.refresh_from_db()
    assert order.state == "packed"
    with pytest.raises(InputError, match="open it again"):
        actions.change_order(order=order, lines=[], revision=1, by=roaster, at=things.NOW)
    client.post(f"{address}?to=open")  # the way back that the toast offers
    order.refresh_from_db()
    assert order.state == "open"
    with pytest.raises(InputError, match="open already"):
        actions.move_order(order=order, state="open", by=roaster, at=things.NOW)


def test_what_was_called_off_counts_in_no_week() -> None:
    order, off = things.order(), things.order(state="called off")
    monday = dt.date(2026, 3, 9)
    found = queries.demand_by_week(monday, monday + dt.timedelta(days=7))
    assert found == {order.lines.get().blend_id: {monday: 6_000}}
    assert off.lines.get().blend_id not in found


@pytest.mark.parametrize(
    ("weeks", "until", "days"),
    [
        (1, None, ["2026-03-18", "2026-03-25", "2026-04-01"]),
        (2, None, ["2026-03-18", "2026-04-01"]),
        (3, None, ["2026-03-25"]),
        (1, dt.date(2026, 3, 20), ["2026-03-18"]),
    ],
)
def test_a_standing_order_stands_on_its_days(
    weeks: int, until: dt.date | None, days: list[str]
) -> None:
    """From Wednesday 4 March on; counted by hand on a calendar."""
    standing = StandingOrder(weekday=2, every_weeks=weeks, since=dt.date(2026, 3, 1), until=until)
    found = queries.days_of(standing, DAY, dt.date(2026, 4, 5))
    assert [day.isoformat() for day in found] == days


def test_standing_orders_are_written_down_once(client: Client) -> None:
    """Pressed twice, called off, changed: what was written down stays, and comes once."""
    today = dt.date.today()  # noqa: DTZ011  the page's own day
    standing = things.standing(weekday=today.weekday(), since=today)
    client.post("/orders/standing/write/")
    client.post("/orders/standing/write/")
    assert Order.objects.count() == 3
    first = Order.objects.order_by("due_on")[0]
    client.post(f"/orders/{first.pk}/state/", {"state": "called off"})
    client.post("/orders/standing/write/")
    assert Order.objects.count() == 3
    with pytest.raises(IntegrityError), transaction.atomic():
        things.order(standing=standing, due_on=first.due_on)


def test_a_viewer_reads_and_a_taster_does_not(
    viewer: Person, taster: Person, signed_in: As
) -> None:
    order = things.order()
    assert signed_in(viewer).get(f"/orders/{order.pk}/").status_code == 200
    assert signed_in(viewer).post(f"/orders/{order.pk}/state/").status_code == 403
    assert signed_in(taster).get("/orders/").status_code == 403


@pytest.mark.parametrize("path", ["/orders/", "/orders/customers/", "/orders/standing/"])
def test_the_queries_of_a_list_do_not_grow_with_its_rows(client: Client, path: str) -> None:
    blend, who = things.recipe().blend, things.customer()

    def more() -> int:
        for n in range(5):
            things.order([(blend, 250, 4)], customer=things.customer())
            things.standing([(blend, 250, 4)], customer=who, every_weeks=n + 1)
        with CaptureQueriesContext(connection) as seen:
            assert client.get(path).status_code == 200
        return len(seen)

    client.get(path)
    assert more() == more()


ORDERS = (
    "order;customer;due;bag size (g);blend;how many\n"
    ";{who};2026-03-18;250;{blend};24\n;{who};2026-03-18;1000;{blend};6\n"
    "A-7;{who};2026-03-18;250;{blend};1\n"
)


def bring(client: Client, text: str, name: str = "orders") -> str:
    from tests.web.test_exchange_round_trip import bring as send

    return send(client, f"/orders/{name}/import/", text.encode())


def test_orders_come_in_from_a_spreadsheet_and_rows_of_one_day_are_one_order(
    client: Client,
) -> None:
    blend, who = things.recipe().blend, things.customer()
    bring(client, ORDERS.format(who=who, blend=blend))
    found = queries.orders().order_by("pk")
    assert [(o.number, o.mass_g) for o in found] == [("1001", 12_000), ("A-7", 250)]


def test_a_spreadsheet_with_faults_is_refused_whole_and_each_is_named(client: Client) -> None:
    blend, who = things.recipe().blend, things.customer(name="Corner Lamp")
    text = ORDERS.format(who=who, blend=blend)
    said = bring(client, text.replace("A-7;Corner Lamp", "A-7;Corner Lump"))
    assert "did you mean" in said
    assert "Corner Lamp" in said
    said = bring(client, text.replace("1000;", "250;"))
    assert "repeats row 2" in said
    said = bring(client, text.replace(";1\n", ";0\n"))
    assert "how many" in said or "bags" in said
    assert not Order.objects.exists()
    things.order(number="A-7")
    assert "known already" in bring(client, text)


def test_customers_come_in_and_known_ones_are_changed(client: Client) -> None:
    things.customer(name="Corner Lamp")
    bring(client, "customer,address\nCorner Lamp,back door\nQuiet Mill,\n", "customers")
    assert Customer.objects.get(name="Corner Lamp").address == "back door"
    assert Customer.objects.count() == 2


def test_a_roasters_own_number_is_kept_for_a_week_that_begins_on_monday(roaster: Person) -> None:
    blend = things.recipe().blend
    monday = dt.date(2026, 3, 16)
    for mass_g in (9_000, 11_000):
        actions.expect(blend=blend, week=monday, mass_g=mass_g, by=roaster, at=things.NOW)
    assert blend.expectations.get().mass_g == 11_000
    with pytest.raises(InputError, match="no Monday"):
        actions.expect(blend=blend, week=DAY, mass_g=1, by=roaster, at=things.NOW)
    actions.expect(blend=blend, week=monday, mass_g=None, by=roaster, at=things.NOW)
    assert not blend.expectations.exists()
