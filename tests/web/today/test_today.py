"""The first page says what waits, in a sentence, and no more than the person may know."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from coupage.web.batches.models import Batch, BatchVerdict
from coupage.web.cuppings.models import Taster
from coupage.web.people.models import Person
from tests.web import things
from tests.web.conftest import As

pytestmark = pytest.mark.django_db


def test_an_empty_roastery_is_told_where_to_begin(roaster: Person, signed_in: As) -> None:
    assert "Add the first lot" in signed_in(roaster).get("/").text


def test_what_waits_is_said_in_one_sentence(roaster: Person, signed_in: As) -> None:
    table = things.cupping()
    things.lot(name="Nearly gone", received_kg=20)
    page = signed_in(roaster).get("/")
    assert (
        "Two batches wait for a verdict, one table is not finished and one lot is running low."
        in page.text
    )
    assert table.name in page.text
    assert "Nearly gone" in page.text


def test_nothing_waits_when_all_is_done(roaster: Person, signed_in: As) -> None:
    things.batch(verdict="release")
    assert "Nothing waits." in signed_in(roaster).get("/").text


def test_a_taster_sees_only_the_tables_with_a_seat(taster: Person, signed_in: As) -> None:
    other = things.cupping()
    own = things.cupping(tasters=[Taster.objects.create(name="Tess", person=taster)])
    text = signed_in(taster).get("/").text
    assert own.name in text
    assert other.name not in text
    assert "wait for a verdict" not in text


def test_a_stranger_is_sent_to_sign_in(roastery: object) -> None:
    assert Client().get("/").status_code == 302


def roasted(loss_pct: str, **more: object) -> Batch:
    """Give a batch that lost 15 % where ``loss_pct`` was aimed at."""
    version = things.approach_version(loss_pct=Decimal(loss_pct))
    return things.batch(approach_version=version, **more)


def test_a_batch_on_target_is_released_from_here(roaster: Person, signed_in: As) -> None:
    batch, client = roasted("15.0"), signed_in(roaster)
    row = client.get("/").context["page"].waiting[0]
    assert (row.found, row.is_clear) == ("on target", True)
    address = f"/batches/{batch.pk}/verdict/?today"
    assert f'action="{address}"' in client.get("/").text
    answer = client.post(address, {"verdict": "release"}, follow=True)
    assert answer.redirect_chain == [("/", 302)]
    assert f"Batch {batch.number}: release." in answer.text
    assert "Nothing waits." in answer.text
    assert BatchVerdict.objects.get().by == roaster


def test_a_batch_off_target_must_be_looked_at(roaster: Person, signed_in: As) -> None:
    batch = roasted("12.0")
    unweighed = roasted("15.0", roasted_g=None)
    aimless = things.batch()
    page = signed_in(roaster).get("/")
    found = {row.batch: (row.found, row.is_clear) for row in page.context["page"].waiting}
    assert found == {
        batch: ("off target in loss", False),
        unweighed: ("not weighed yet", False),
        aimless: ("no targets to go by", False),
    }
    assert "verdict/?today" not in page.text
    assert f"at batch {batch.number}" in page.text


def test_a_viewer_sees_what_waits_and_releases_nothing(viewer: Person, signed_in: As) -> None:
    batch, client = roasted("15.0"), signed_in(viewer)
    page = client.get("/")
    assert batch.number in page.text
    assert "verdict/?today" not in page.text
    assert client.post(f"/batches/{batch.pk}/verdict/?today").status_code == 403
    assert not BatchVerdict.objects.exists()


def test_a_long_list_is_cut_and_says_how_many_more_there_are(
    roaster: Person, signed_in: As
) -> None:
    version = things.approach_version()
    for _ in range(11):
        things.batch(approach_version=version)
    page = signed_in(roaster).get("/")
    assert "11 batches wait for a verdict" in page.text
    assert len(page.context["page"].waiting) == 8
    assert "3 more" in page.text


def test_masses_are_shown_in_pounds_to_whom_thinks_in_pounds(
    roaster: Person, signed_in: As
) -> None:
    things.lot(name="Nearly gone", received_kg=20)
    Person.objects.update(mass_unit="lb")
    # NIST Handbook 44: 20 kg are 44.09 lb.
    assert "44.09 lb" in signed_in(roaster).get("/").text


def test_the_page_costs_no_more_queries_when_more_waits(roaster: Person, signed_in: As) -> None:
    client = signed_in(roaster)

    def grow() -> None:
        things.batch(approach_version=things.approach_version(loss_pct=Decimal(15)))
        things.lot(received_kg=20)
        things.cupping(samples=[things.sample()])

    def cost() -> int:
        with CaptureQueriesContext(connection) as made:
            client.get("/")
        return len(made)

    for _ in range(10):
        grow()
    before = cost()
    for _ in range(10):
        grow()
    assert cost() == before
