"""A stranger joins by a code: what it opens, what it does not, and how guessing is slowed."""

from __future__ import annotations

import datetime as dt
import re
from itertools import pairwise, permutations
from typing import Any

import pytest
from django.test import Client, RequestFactory
from django.urls import reverse

from coupage.errors import InputError
from coupage.web.cuppings.actions.life import open_cupping, reveal_cupping
from coupage.web.cuppings.models import Cupping, Seat, Taster
from coupage.web.live import joining
from coupage.web.live.models import JoinCode, Ticket, WrongGuess
from coupage.web.people.models import Person
from tests.web import things
from tests.web.conftest import As
from tests.web.test_rights import ALL, NOT_SIGNED_IN

pytestmark = pytest.mark.django_db
OUTSIDE = "192.0.2.7"  # RFC 5737: an address for examples


@pytest.fixture
def table(roaster: Person) -> Cupping:
    return things.cupping(name="Morning table", samples=[things.sample() for _ in range(4)])


@pytest.fixture
def code(table: Cupping, roaster: Person) -> JoinCode:
    return joining.make_code(kind="cupping", key=table.pk, by=roaster, at=things.NOW)


def join(code: JoinCode, name: str, client: Client | None = None, **more: str) -> str:
    """Join as a stranger does; return where one is led."""
    client = client or Client()
    answer = client.post(f"/join/{code.letters}/", {"name": name} | more)
    assert answer.status_code == 302, answer.text
    return answer.headers["Location"]


def test_a_name_is_all_a_stranger_gives(code: JoinCode, table: Cupping) -> None:
    client = Client()
    page = client.get(f"/join/{code.letters.lower()}/")
    assert "Morning table" in page.text
    assert (
        len(
            re.findall(
                r'<input(?![^>]*type="hidden")', page.text.split("<main")[1].split("</main")[0]
            )
        )
        == 1
    )
    place = client.get(join(code, "  Wren ", client))
    assert place.status_code == 200
    seat = table.seats.get(taster__name="Wren")
    assert seat.servings.count() == 4
    assert "sessionid" not in client.cookies
    assert not {name for name in client.cookies if "session" in name}


def test_typing_the_code_leads_to_the_same_place(code: JoinCode) -> None:
    answer = Client().post("/join/", {"code": f" {str(code).lower()} "})
    assert answer.headers["Location"] == f"/join/{code.letters}/"


def test_a_ticket_opens_its_own_seat_and_no_other_page(code: JoinCode) -> None:
    """Walk every address there is, with what a stranger holds after joining."""
    client = Client()
    own = join(code, "Wren", client)
    token = own.split("/")[2]
    for name, address, pattern in ALL:
        answer = client.get(address)
        if name in NOT_SIGNED_IN:
            assert answer.status_code in {200, 302, 404, 405}, name
            continue
        assert answer.status_code == 302, name
        assert answer.headers["Location"].startswith("/people/sign-in/"), name
        # Nor does the token help in the place of any key.
        with_token = client.get(re.sub(r"(?<=/)1(?=/)", token, address))
        assert with_token.status_code in {302, 404}, (name, pattern)


def test_what_a_joined_page_links_to_is_the_seat_or_the_sign_in(code: JoinCode) -> None:
    client = Client()
    waiting, seen = [join(code, "Wren", client)], set()
    while waiting:
        path = waiting.pop()
        if path in seen or path.startswith("/static/"):
            continue
        seen.add(path)
        answer = client.get(path)
        assert path.startswith(("/seat/", "/join/", "/people/sign-in/")), path
        if answer.status_code == 200:
            waiting += [
                link.split("#")[0].split("?")[0]
                for link in re.findall(r'(?:href|src|hx-get|action)="([^"]+)"', answer.text)
                if link.startswith("/")
            ]
    assert len(seen) >= 1


def test_a_token_cannot_be_guessed_changed_or_used_elsewhere(code: JoinCode) -> None:
    first, second = join(code, "Wren"), join(code, "Robin")
    a, b = (path.split("/")[2] for path in (first, second))
    number, signed = a.split("~")
    assert b.split("~")[1] != signed
    for wrong in (
        f"{b.split('~')[0]}~{signed}",
        number,
        f"{number}~",
        f"{number}~{signed[:-2]}xx",
        "~",
        "1~1",
    ):
        assert Client().get(f"/seat/{wrong}/").status_code == 404, wrong


def test_a_ticket_of_another_kind_opens_nothing(code: JoinCode, table: Cupping) -> None:
    other = joining.ticket_for(kind="test", key=1, place=1, name="Wren", at=things.NOW)
    assert Client().get(f"/seat/{joining.token(other)}/").status_code == 404


def test_a_revoked_code_lets_nobody_in_and_keeps_who_is_in(
    code: JoinCode, table: Cupping, roaster: Person
) -> None:
    own = join(code, "Wren")
    assert joining.revoke_code(kind="cupping", key=table.pk, at=things.NOW)
    late = Client().post(f"/join/{code.letters}/", {"name": "Late"})
    assert late.status_code == 404
    assert not Taster.objects.filter(name="Late").exists()
    assert Client().get(own).status_code == 200
    fresh = joining.make_code(kind="cupping", key=table.pk, by=roaster, at=things.NOW)
    assert fresh.letters != code.letters
    join(fresh, "Late")


def test_a_revoked_ticket_opens_nothing(code: JoinCode) -> None:
    own = join(code, "Wren")
    joining.revoke_ticket(ticket=Ticket.objects.get(name="Wren"), at=things.NOW)
    assert Client().get(own).status_code == 404


def test_one_thing_has_one_code_at_a_time(table: Cupping, roaster: Person) -> None:
    one = joining.make_code(kind="cupping", key=table.pk, by=roaster, at=things.NOW)
    assert joining.make_code(kind="cupping", key=table.pk, by=roaster, at=things.NOW) == one


def test_a_code_opens_its_own_table_only(code: JoinCode, table: Cupping) -> None:
    other = things.cupping()
    join(code, "Wren")
    assert not other.seats.filter(taster__name="Wren").exists()


def test_the_same_form_sent_twice_gives_one_seat(code: JoinCode, table: Cupping) -> None:
    before = table.seats.count()
    places = {join(code, "Wren", once="a1b2") for _ in range(2)}
    assert len(places) == 1
    assert table.seats.count() == before + 1


def test_who_scans_twice_is_led_back_to_the_own_seat(code: JoinCode) -> None:
    client = Client()
    own = join(code, "Wren", client)
    assert own in client.get(f"/join/{code.letters}/").text
    assert own not in Client().get(f"/join/{code.letters}/").text


def test_after_ten_wrong_codes_a_right_one_waits_too(code: JoinCode) -> None:
    guesser, other = Client(REMOTE_ADDR=OUTSIDE), Client(REMOTE_ADDR="192.0.2.8")
    for n in range(10):
        wrong = guesser.post("/join/", {"code": f"BBBBB{'BCDFGHJKMN'[n]}"})
        assert wrong.status_code == 422
    assert guesser.post("/join/", {"code": code.letters}).status_code == 429
    assert guesser.get(f"/join/{code.letters}/").status_code == 429
    assert guesser.post(f"/join/{code.letters}/", {"name": "Wren"}).status_code == 429
    join(code, "Robin", other)
    assert OUTSIDE not in str(list(WrongGuess.objects.values_list("who", flat=True)))
    WrongGuess.objects.update(at=dt.datetime(2020, 1, 1, tzinfo=dt.UTC))
    join(code, "Wren", guesser)


@pytest.mark.parametrize("name", ["", "   ", "\u200b", "x" * 61])
def test_a_name_that_is_none_is_asked_for_again(name: str, code: JoinCode) -> None:
    answer = Client().post(f"/join/{code.letters}/", {"name": name})
    assert answer.status_code == 422
    assert not Ticket.objects.exists()


def test_a_name_that_sits_here_already_is_told_the_way_on(code: JoinCode, table: Cupping) -> None:
    join(code, "Wren")
    again = Client().post(f"/join/{code.letters}/", {"name": "wren"})
    assert again.status_code == 422
    assert "sits at this table already" in again.text
    assert 'value="wren"' in again.text


def test_a_seat_laid_for_a_name_waits_for_it(code: JoinCode, table: Cupping) -> None:
    seat = table.seats.first()
    assert seat is not None
    joining.ticket_for(kind="cupping", key=table.pk, place=seat.pk, name="x", at=things.NOW)
    before = table.seats.count()
    join(code, seat.taster.name)
    assert table.seats.count() == before
    assert Ticket.objects.get(place=seat.pk).name == seat.taster.name


def test_nobody_takes_the_name_of_somebody_with_an_account(
    code: JoinCode, table: Cupping, taster: Person
) -> None:
    known = things.taster(name="Ada", person=taster)
    refused = Client().post(f"/join/{code.letters}/", {"name": "Ada"})
    assert refused.status_code == 422
    assert "has an account" in refused.text
    assert not table.seats.filter(taster=known).exists()


def test_a_closed_table_says_so_and_seats_nobody(
    code: JoinCode, table: Cupping, roaster: Person
) -> None:
    reveal_cupping(cupping=table, by=roaster, at=things.NOW)
    assert "closed and revealed" in Client().get(f"/join/{code.letters}/").text
    assert Client().post(f"/join/{code.letters}/", {"name": "Late"}).status_code == 422


def test_latecomers_get_orders_that_even_the_table_out(code: JoinCode, table: Cupping) -> None:
    """Each gets an order that, of all 24, does least often what those before did already."""
    Seat.objects.filter(cupping=table).delete()
    for name in ("Ash", "Bay", "Cedar", "Dogwood"):
        join(code, name)
    orders = [
        tuple(seat.servings.order_by("position").values_list("cup_id", flat=True))
        for seat in table.seats.order_by("order")
    ]

    def seen(order: tuple[int, ...], before: list[tuple[int, ...]]) -> int:
        own = {*enumerate(order), *(("after", *pair) for pair in pairwise(order))}
        return sum(
            len(own & {*enumerate(one), *(("after", *pair) for pair in pairwise(one))})
            for one in before
        )

    for k, order in enumerate(orders):
        assert len(order) == 4
        assert seen(order, orders[:k]) == min(seen(o, orders[:k]) for o in permutations(order))


def test_whoever_joins_before_the_opening_is_dealt_in_when_it_opens(roaster: Person) -> None:
    table = things.cupping(state=Cupping.State.PLANNED)
    code = joining.make_code(kind="cupping", key=table.pk, by=roaster, at=things.NOW)
    own = join(code, "Wren")
    assert Client().get(own).status_code == 200
    open_cupping(cupping=table, by=roaster, at=things.NOW)
    assert table.seats.get(taster__name="Wren").servings.count() == table.cups.count()


def test_a_seat_that_was_taken_away_says_so(
    code: JoinCode, table: Cupping, roaster: Person
) -> None:
    own = join(code, "Wren")
    table.seats.get(taster__name="Wren").delete()
    assert "Ask the host" in Client().get(own).text


@pytest.fixture
def lan(settings: Any) -> None:
    settings.LAN_URL = "http://192.0.2.1:8177"
    settings.ALLOWED_HOSTS = ["*"]


def test_on_the_local_network_others_can_only_join(
    lan: None, code: JoinCode, owner: Person, signed_in: As
) -> None:
    """Neither a password nor a session is taken from another machine on an open line."""
    outside = Client(REMOTE_ADDR=OUTSIDE)
    for name, address, _ in ALL:
        answer = outside.get(address)
        if name in NOT_SIGNED_IN and not name.startswith("people:"):
            assert answer.status_code != 403, name
        else:
            assert answer.status_code == 403, name
            assert "type it here" in answer.text, name
    assert outside.get(join(code, "Wren", outside)).status_code == 200
    stolen = signed_in(owner)
    assert stolen.get("/coffees/").status_code == 200
    assert stolen.get("/coffees/", REMOTE_ADDR=OUTSIDE).status_code == 403
    words = {"username": owner.sign_in, "password": things.PASSWORD}
    assert outside.post("/people/sign-in/", words).status_code == 403
    assert outside.get("/people/sign-in/", secure=True).status_code == 200
    assert Client().get("/people/sign-in/").status_code == 200


def test_the_code_to_scan_leads_to_the_address_others_can_reach(lan: None, code: JoinCode) -> None:

    shown = joining.invitation(RequestFactory().get("/"), code)
    assert shown.address == f"http://192.0.2.1:8177/join/{code.letters}/"
    assert shown.reachable
    assert shown.qr.startswith("<svg")
    assert "style=" not in shown.qr


def test_without_a_network_the_host_is_told(code: JoinCode) -> None:

    shown = joining.invitation(RequestFactory().get("/", headers={"host": "127.0.0.1:8177"}), code)
    assert not shown.reachable
    assert shown.address == f"http://127.0.0.1:8177{reverse('live:join', args=[code.letters])}"


def test_a_kind_says_why_nobody_can_join(code: JoinCode, table: Cupping) -> None:
    Cupping.objects.filter(pk=table.pk).update(void=True)
    with pytest.raises(InputError, match="called off"):
        joining.come_in(code=code, name="Wren", once="", at=things.NOW)
