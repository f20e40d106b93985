"""What does not fit is found, mended by a person with a reason, and undone; beliefs follow."""

from __future__ import annotations

import threading
import time
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction
from django.test import Client

from coupage.errors import InputError
from coupage.web.cuppings import beliefs, misfits
from coupage.web.cuppings.actions import mending
from coupage.web.cuppings.beliefs import believed_now
from coupage.web.cuppings.models import Cupping, KeptReview, Mend, Rating, Sample, Seat
from coupage.web.people.models import Change, Person, Role
from tests.web import things
from tests.web.conftest import As
from tests.web.cuppings.conftest import work_is_over
from tests.web.cuppings.test_results import clear_table, reveal


@pytest.fixture
def client(roaster: Person, signed_in: As) -> Client:
    return signed_in(roaster)


@pytest.fixture
def table(roastery: object) -> Cupping:
    """A clear table but for one slip: 0.6 where about 6 was meant."""
    made = clear_table()
    Rating.objects.filter(pk=_slip(made).pk).update(value=Decimal("0.5"))
    return made


def _slip(table: Cupping) -> Rating:
    return Rating.objects.filter(cup__sample__label="one", attribute__name="acidity").order_by(
        "id"
    )[0]


def fingerprint() -> str:
    found = believed_now()
    assert found is not None
    return found.fingerprint


@pytest.mark.django_db
def test_a_slipped_finger_is_found_with_what_was_meant(client: Client, table: Cupping) -> None:
    reveal(client, table)
    page = client.get(f"/cuppings/{table.pk}/misfits/").context["page"]
    (row,) = page.odd
    assert row.rating == _slip(table)
    assert page.sentence == "One rating looks like a slip."
    assert row.meant == "5"
    assert row.correct.endswith("?to=5")
    assert row.moves.endswith("up"), "a low rating holds the sample down"
    assert page.threshold == "90 %"
    everywhere = client.get("/cuppings/misfits/").context["page"]
    assert [each.rating for each in everywhere.odd] == [row.rating]


@pytest.mark.django_db
def test_a_clear_table_has_nothing_odd(client: Client, roastery: object) -> None:
    table = clear_table()
    reveal(client, table)
    page = client.get(f"/cuppings/{table.pk}/misfits/").context["page"]
    assert page.sentence == "Nothing looks like a slip."
    assert {row.attribute for row in page.predicted} == {"acidity", "body"}
    assert all(float(row.error) < 3 for row in page.predicted)


@pytest.mark.django_db
def test_a_rating_is_set_aside_and_comes_back(client: Client, table: Cupping) -> None:
    reveal(client, table)
    before, slip = fingerprint(), _slip(table)
    asked = client.get(f"/cuppings/ratings/{slip.pk}/mend/?aside")
    assert "Set a rating aside" in asked.text
    unsaid = client.post(f"/cuppings/ratings/{slip.pk}/mend/?aside", {"reason": " "})
    assert "Say why" in unsaid.text
    assert fingerprint() == before
    client.post(f"/cuppings/ratings/{slip.pk}/mend/?aside", {"reason": "her pen slipped"})
    found = believed_now()
    assert found is not None
    assert found.fingerprint != before
    assert slip.pk not in found.columns.keys
    page = client.get(f"/cuppings/{table.pk}/misfits/").context["page"]
    assert not page.odd
    assert (page.mends[0].became, page.mends[0].mend.reason) == ("set aside", "her pen slipped")
    note = Change.objects.order_by("-id")[0]
    assert note.verb == "set aside a rating of"
    assert "her pen slipped" in note.note
    client.post(page.mends[0].undo)
    assert fingerprint() == before


@pytest.mark.django_db
def test_a_rating_is_corrected_and_what_was_given_is_kept(client: Client, table: Cupping) -> None:
    reveal(client, table)
    before, slip = fingerprint(), _slip(table)
    path = f"/cuppings/ratings/{slip.pk}/mend/"
    assert 'value="5"' in client.get(f"{path}?to=5").text
    assert "must be at most 10" in client.post(path, {"value": "11", "reason": "asked"}).text
    client.post(path, {"value": "5,5", "reason": "asked her"})
    slip.refresh_from_db()
    mend = Mend.objects.get()
    assert (slip.value, mend.was, mend.became) == (Decimal("5.5"), Decimal("0.5"), Decimal("5.5"))
    assert "mended already" in client.post(path, {"value": "7", "reason": "again"}).text
    client.post(f"/cuppings/mends/{mend.pk}/undo/")
    slip.refresh_from_db()
    assert slip.value == Decimal("0.5")
    assert fingerprint() == before
    again = client.post(f"/cuppings/mends/{mend.pk}/undo/", follow=True)
    assert "This was undone already." in again.text


@pytest.mark.django_db
def test_codes_that_were_mixed_up_are_found_exchanged_and_put_back(
    client: Client, roastery: object
) -> None:
    table = clear_table()
    seat = table.seats.order_by("order")[0]
    one, apart = (Sample.objects.get(label=label) for label in ("one", "apart"))
    reveal(client, table)
    clean = _given(seat)
    _mix_up(seat, one, apart)
    mixed = _given(seat)
    page = client.get(f"/cuppings/{table.pk}/misfits/").context["page"]
    (row,) = page.swapped
    assert {row.first, row.second} == {"one", "apart"}
    assert row.taster == seat.taster.name
    client.post(row.href, {"reason": "he held the cups crosswise"})
    assert _given(seat) == clean
    after = client.get(f"/cuppings/{table.pk}/misfits/").context["page"]
    assert not after.swapped
    assert len(after.mends) == 1, "what was exchanged together stands once"
    client.post(after.mends[0].undo)
    assert _given(seat) == mixed


def _given(seat: Seat) -> list[Decimal]:
    return list(Rating.objects.filter(seat=seat).order_by("id").values_list("value", flat=True))


def _mix_up(seat: Seat, one: Sample, other: Sample) -> None:
    """Exchange the first cups of two samples, as a taster does who takes the wrong cup."""
    first, second = (
        list(
            Rating.objects.filter(
                seat=seat,
                cup=Rating.objects.filter(seat=seat, cup__sample=sample).order_by("id")[0].cup,
            ).order_by("attribute__name")
        )
        for sample in (one, other)
    )
    for a, b in zip(first, second, strict=True):
        Rating.objects.filter(pk=a.pk).update(value=b.value)
        Rating.objects.filter(pk=b.pk).update(value=a.value)


@pytest.mark.django_db
def test_a_rating_given_anew_counts_as_it_stands(
    client: Client, table: Cupping, roaster: Person
) -> None:
    reveal(client, table)
    slip = _slip(table)
    mending.mend_rating(rating=slip, value=None, reason="slip", by=roaster, at=things.NOW)
    later = things.NOW.replace(hour=20)
    Rating.objects.filter(pk=slip.pk).update(value=Decimal(6), at=later)
    found = believed_now()
    assert found is not None
    assert slip.pk in found.columns.keys
    slip.refresh_from_db()
    mending.mend_rating(rating=slip, value=Decimal(5), reason="no, 5", by=roaster, at=later)
    assert Mend.objects.filter(undone_at=None).count() == 1


@pytest.mark.django_db
def test_only_ratings_of_a_revealed_table_are_mended(
    client: Client, table: Cupping, roaster: Person
) -> None:
    assert client.get(f"/cuppings/{table.pk}/misfits/").status_code == 404
    with pytest.raises(InputError, match="under way"):
        mending.mend_rating(
            rating=_slip(table), value=None, reason="slip", by=roaster, at=things.NOW
        )


@pytest.mark.django_db
def test_the_database_wants_a_reason_and_one_mend_at_a_time(table: Cupping) -> None:
    values = {"rating": _slip(table), "was": 1, "at": things.NOW}
    for bad in ({"reason": ""}, {"reason": "x", "became": 11}):
        with pytest.raises(IntegrityError), transaction.atomic():
            Mend.objects.create(**(values | bad))
    Mend.objects.create(**values, reason="x")
    with pytest.raises(IntegrityError), transaction.atomic():
        Mend.objects.create(**values, reason="y")


@pytest.mark.django_db
@pytest.mark.parametrize("role", [Role.VIEWER, Role.TASTER])
def test_it_is_private_to_those_who_work(
    role: str, client: Client, table: Cupping, signed_in: As
) -> None:
    reveal(client, table)
    other = signed_in(things.person(role))
    for path in (f"/cuppings/{table.pk}/misfits/", "/cuppings/misfits/"):
        assert other.get(path).status_code == 403


def test_a_long_look_does_not_keep_the_page_waiting(
    shared: None, monkeypatch: pytest.MonkeyPatch, signed_in: As
) -> None:
    person: Person = things.person(Role.ROASTER)
    client = signed_in(person)
    table = clear_table()
    Cupping.objects.update(state="revealed", revealed_at=things.NOW)
    beliefs.beliefs_now()
    monkeypatch.setattr(misfits, "AT_ONCE", 0)
    go, look = threading.Event(), misfits.review
    monkeypatch.setattr(misfits, "review", lambda *a, **k: (go.wait(20), look(*a, **k))[1])
    try:
        note = client.get(f"/cuppings/{table.pk}/misfits/")
        assert (note.status_code, note.headers["Refresh"]) == (202, "1")
        go.set()
        until = time.monotonic() + 20
        while time.monotonic() < until:
            page = client.get(f"/cuppings/{table.pk}/misfits/")
            if page.status_code == 200:
                break
            time.sleep(0.05)
        assert page.status_code == 200
        assert KeptReview.objects.exclude(data=b"").count() == 1
    finally:
        go.set()
        work_is_over()
