"""What phones send: kept once, the later one counts, kept apart after the close."""

from __future__ import annotations

import datetime as dt
import json
import random
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from coupage.web.cuppings.actions.life import reveal_cupping
from coupage.web.cuppings.actions.ratings import rate
from coupage.web.cuppings.models import Cupping, Rating, Seat, Word
from coupage.web.live.models import FaultMark, Ticket, Touch
from coupage.web.people.models import Change, Person
from tests.web import things
from tests.web.conftest import As
from tests.web.live.conftest import Phone, sit

pytestmark = pytest.mark.django_db


def ago(seconds: float) -> dt.datetime:
    return timezone.now() - dt.timedelta(seconds=seconds)


def fates(answer: Any) -> list[str]:
    assert answer.status_code == 200, answer.content
    return list(answer.json()["fates"].values())


def test_a_touch_is_a_rating_at_the_time_it_was_made(phone: Phone) -> None:
    at = ago(90)
    assert fates(phone.send(phone.rating(6.5, at=at))) == ["kept"]
    rating = Rating.objects.get()
    assert (rating.seat, float(rating.value), rating.by) == (phone.seat, 6.5, None)
    assert abs((rating.at - at).total_seconds()) < 0.01


def test_a_touch_sent_again_is_kept_once(phone: Phone) -> None:
    touch = phone.rating(6, at=ago(9))
    later = phone.rating(7, at=ago(5))
    phone.send(touch)
    phone.send(touch, later)
    assert fates(phone.send(touch, later, touch)) == ["kept", "kept"]
    assert Touch.objects.count() == 2
    assert phone.values() == ["7"]


def test_of_two_devices_the_later_touch_counts_and_both_are_kept(phone: Phone) -> None:
    """Whatever the order in which they come in."""
    early, late = phone.rating(3, at=ago(60)), phone.rating(8, at=ago(30))
    assert fates(phone.send(late, device="bbbbbbbb")) == ["kept"]
    assert fates(phone.send(early)) == ["older"]
    assert phone.values() == ["8"]
    assert sorted(float(t.value or 0) for t in Touch.objects.all()) == [3, 8]


@pytest.mark.parametrize("seed", range(6))
def test_any_order_of_arrival_ends_in_the_same_sheet(phone: Phone, seed: int) -> None:
    rng = random.Random(seed)
    start = ago(600)
    sent = [
        phone.rating(
            rng.choice([None, *(n / 2 for n in range(21))]),
            at=start + dt.timedelta(seconds=n),
            cup=rng.randrange(2),
        )
        for n in range(14)
    ]
    last = {touch["cup"]: touch["value"] for touch in sent}
    arriving = [*sent, *rng.sample(sent, 5)]
    rng.shuffle(arriving)
    while arriving:
        batch = [arriving.pop() for _ in range(min(len(arriving), rng.randint(1, 4)))]
        phone.send(*batch, device=rng.choice(["aaaaaaaa", "bbbbbbbb"]))
    there = {r.cup.code: float(r.value) for r in Rating.objects.select_related("cup")}
    assert there == {cup: value for cup, value in last.items() if value is not None}
    assert Touch.objects.count() == 14


def test_a_phone_whose_clock_is_fast_has_not_the_last_word_for_ever(phone: Phone) -> None:
    phone.send(phone.rating(2, at=timezone.now() + dt.timedelta(days=300)))
    phone.send(phone.rating(9, at=timezone.now()))
    assert phone.values() == ["9"]
    assert not Touch.objects.filter(made_at__gt=timezone.now()).exists()


def test_what_the_host_entered_later_stands(phone: Phone, roaster: Person) -> None:
    cup = phone.seat.cupping.cups.order_by("code")[0]
    touch = phone.rating(3, at=ago(120))
    cell = (touch["pass"], touch["attribute"])
    values = {cell: things.Decimal(8)}
    rate(seat=phone.seat, cup=cup, values=values, by=roaster, at=ago(60))
    assert fates(phone.send(touch)) == ["older"]
    assert phone.values() == ["8"]
    phone.send(phone.rating(4, at=ago(1)))
    assert phone.values() == ["4"]
    change = Change.objects.get(verb__startswith="changed a rating")
    assert list(change.before.values()) == ["8"]


def test_words_faults_and_being_done_come_and_go(phone: Phone) -> None:
    phone.send(
        phone.other("word", at=ago(9), word="Red  Currant"),
        phone.other("fault", at=ago(8)),
        phone.other("done", at=ago(7)),
    )
    assert Word.objects.get().text == "red currant"
    assert FaultMark.objects.count() == 1
    assert Seat.objects.get(pk=phone.seat.pk).finished_at is not None
    phone.send(
        phone.other("word", at=ago(6), word="red currant", on=False),
        phone.other("fault", at=ago(5), on=False),
        phone.other("done", at=ago(4), on=False),
    )
    assert not Word.objects.exists()
    assert not FaultMark.objects.exists()
    assert Seat.objects.get(pk=phone.seat.pk).finished_at is None


def test_a_rating_taken_back_is_gone_and_on_record(phone: Phone) -> None:
    phone.send(phone.rating(3, at=ago(9)))
    phone.send(phone.rating(None, at=ago(8)))
    assert phone.values() == []
    assert Touch.objects.count() == 2


def test_what_was_taken_back_does_not_come_back_with_an_older_touch(phone: Phone) -> None:
    """As from a second phone that was without network until now."""
    phone.send(
        phone.rating(None, at=ago(10)),
        phone.other("word", at=ago(10), word="plum", on=False),
        phone.other("fault", at=ago(10), on=False),
        phone.other("done", at=ago(10), on=False),
    )
    answer = phone.send(
        phone.rating(7, at=ago(20)),
        phone.other("word", at=ago(20), word="plum"),
        phone.other("fault", at=ago(20)),
        phone.other("done", at=ago(20)),
        device="bbbbbbbb",
    )
    assert fates(answer) == ["older"] * 4
    assert phone.values() == []
    assert not Word.objects.exists()
    assert not FaultMark.objects.exists()
    assert Seat.objects.get(pk=phone.seat.pk).finished_at is None


def test_after_the_close_touches_are_kept_apart_until_the_host_lets_them_count(
    phone: Phone, roaster: Person, signed_in: As
) -> None:
    phone.send(phone.rating(3, at=ago(60)))
    reveal_cupping(cupping=phone.seat.cupping, by=roaster, at=timezone.now())
    before = phone.rating(7, at=ago(30))
    answer = phone.send(before, phone.rating(5, at=timezone.now(), cup=1))
    assert fates(answer) == ["late", "late"]
    assert phone.values() == ["3"]
    host = signed_in(roaster)
    shown = host.get(f"/cuppings/{phone.seat.cupping_id}/live/").context["page"].late
    assert [(row.touches, row.before_close) for row in shown] == [(2, 1)]
    host.post(f"/cuppings/seats/{phone.seat.pk}/late/")
    assert phone.values() == ["7", "5"]
    assert set(Touch.objects.values_list("fate", flat=True)) == {"kept", "admitted"}
    assert Change.objects.filter(verb="admitted what came after the close").count() == 1
    # Sent again, nothing moves.
    assert fates(phone.send(before)) == ["admitted"]


def test_what_is_left_out_stays_on_record(phone: Phone, roaster: Person, signed_in: As) -> None:
    reveal_cupping(cupping=phone.seat.cupping, by=roaster, at=timezone.now())
    phone.send(phone.rating(7, at=ago(30)))
    signed_in(roaster).post(f"/cuppings/seats/{phone.seat.pk}/late/?leave-out")
    assert phone.values() == []
    assert Touch.objects.get().fate == "left out"


def test_before_the_opening_nothing_is_entered(phone: Phone) -> None:
    Cupping.objects.update(state="planned")
    answer = phone.send(phone.rating(7, at=ago(1)))
    assert answer.status_code == 422
    assert "not open yet" in answer.json()["problem"]
    assert not Touch.objects.exists()


@pytest.mark.parametrize(
    "wrong",
    [
        {"value": 6.3},
        {"value": 11},
        {"value": "NaN"},
        {"value": "six"},
        {"cup": "999"},
        {"cup": None},
        {"pass": 10**9},
        {"attribute": 10**9},
        {"attribute": "x"},
        {"key": "no"},
        {"key": 5},
        {"what": "sugar"},
        {"at": "soon"},
        {"at": 10**30},
        {"at": None},
    ],
)
def test_what_is_not_a_touch_is_refused_whole(wrong: dict[str, Any], phone: Phone) -> None:
    answer = phone.send(phone.rating(5, at=ago(2)), phone.rating(5, at=ago(1)) | wrong)
    assert answer.status_code == 422
    assert answer.json()["problem"].endswith(".")
    assert not Touch.objects.exists()
    assert not Rating.objects.exists()


@pytest.mark.parametrize(
    "body", ["", "[]", "{", '{"device": "aaaaaaaa"}', "1", "null", "[" * 9000, '{"touches": []}']
)
def test_a_body_that_is_none_is_refused(body: str, phone: Phone) -> None:
    answer = Client().post(f"{phone.path}touches/", body, content_type="application/json")
    assert answer.status_code == 422


def test_too_many_at_once_are_refused(phone: Phone) -> None:
    assert phone.send(*[phone.rating(5, at=ago(1)) for _ in range(201)]).status_code == 422


def test_a_cup_of_another_table_is_not_there(phone: Phone) -> None:
    foreign = things.cupping(passes=("hot",))
    answer = phone.send(phone.rating(5, at=ago(1), **{"pass": foreign.rounds.get().pk}))
    assert answer.status_code == 422


def test_the_host_sees_what_is_on_the_way_and_who_is_here(
    phone: Phone, roaster: Person, signed_in: As
) -> None:
    Client().get(f"{phone.path}pulse/?device=aaaaaaaa&waiting=7")
    host = signed_in(roaster)
    page = host.get(f"/cuppings/{phone.seat.cupping_id}/live/").context["page"]
    rows = {row.seat.taster.name: row for row in page.seats}
    assert (rows["Wren"].heard, rows["Wren"].waiting) == ("here", 7)
    assert rows["Guest Tongue"].heard == "not here yet"
    assert "7 still on phones" in page.sentence
    Ticket.objects.update(seen_at=ago(200))
    page = host.get(f"/cuppings/{phone.seat.cupping_id}/live/").context["page"]
    assert "not heard for 3 min" in {row.heard for row in page.seats}


def test_a_nudge_reaches_the_phone(phone: Phone, roaster: Person, signed_in: As) -> None:
    pulse = f"{phone.path}pulse/?device=aaaaaaaa&waiting=0"
    assert Client().get(pulse).json()["nudged"] == 0
    signed_in(roaster).post(f"/cuppings/seats/{phone.seat.pk}/ask/")
    assert Client().get(pulse).json()["nudged"] > 0


def test_the_pulse_counts_what_this_device_sent_and_tells_of_others(phone: Phone) -> None:
    def pulse() -> dict[str, Any]:
        found: dict[str, Any] = Client().get(f"{phone.path}pulse/?device=aaaaaaaa").json()
        return found

    assert (pulse()["have"], pulse()["others"]) == (0, 0)
    phone.send(phone.rating(5, at=ago(2)), phone.rating(6, at=ago(1)))
    assert pulse()["have"] == 2
    phone.send(phone.rating(6, at=ago(0), cup=1), device="bbbbbbbb")
    assert (pulse()["have"], pulse()["others"]) == (2, Touch.objects.latest("pk").pk)


def test_until_the_reveal_the_link_tells_neither_contents_nor_others(
    phone: Phone, table: Cupping
) -> None:
    """Everything that the link reaches: pages, data, headers; with an account's names in it."""
    things.rate_all(table)
    Rating.objects.exclude(seat=phone.seat).update(value="8.75")
    Rating.objects.filter(seat=phone.seat).delete()
    phone.send(phone.rating(6, at=ago(1)))
    other = sit(table, "Robin")
    client = Client()
    secrets = [
        "Secret Orchard",
        "Hidden Meadow",
        "8.75",
        "Guest Tongue",
        "Robin",
        other.token,
        *(part.batch.number for cup in table.cups.all() for part in cup.sample.parts.all()),
        *(
            str(part.batch.approach_version.approach)
            for cup in table.cups.all()
            for part in cup.sample.parts.all()
        ),
    ]
    for path in ("", "sheet/", "pulse/?device=aaaaaaaa", "touches/"):
        answer = client.get(phone.path + path)
        text = f"{dict(answer.headers)} {answer.content.decode()}"
        for secret in secrets:
            assert secret not in text, (path, secret)
        assert "sample" not in text.lower(), path
    data = client.get(f"{phone.path}sheet/").json()
    assert all(set(map(type, (code,))) == {str} for code in data["cups"])
    keys = json.dumps([cup.pk for cup in table.cups.all()])
    assert keys not in json.dumps(data)


def test_after_the_reveal_the_link_tells_what_was_tasted(
    phone: Phone, table: Cupping, roaster: Person
) -> None:
    phone.send(phone.rating(6, at=ago(1)))
    reveal_cupping(cupping=table, by=roaster, at=timezone.now())
    page = Client().get(phone.path)
    assert "Secret Orchard" in page.text
    assert "Guest Tongue" not in page.text


def test_a_save_takes_few_queries_however_long_the_sheet(
    phone: Phone, django_assert_max_num_queries: Any
) -> None:
    for n in range(40):
        phone.send(phone.rating(n % 10, at=ago(100 - n)))
    with django_assert_max_num_queries(16):
        phone.send(phone.rating(5, at=ago(1)))
