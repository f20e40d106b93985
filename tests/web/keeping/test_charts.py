"""Charts: what they are of, what they say first, and from when on."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import numpy as np
import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from coupage.roast import control_chart
from coupage.web.batches.models import Batch, Machine
from coupage.web.coffees.models import ApproachVersion
from coupage.web.keeping.models import Baseline
from coupage.web.people.models import Change, Person
from tests.web import things
from tests.web.conftest import As
from tests.web.keeping import tables

pytestmark = pytest.mark.django_db
NOISE = (0.0, 0.1, -0.1, 0.05, -0.05, 0.1, 0.0, -0.1, 0.1, -0.05)


@pytest.fixture
def machine() -> Machine:
    return things.machine()


@pytest.fixture
def version() -> ApproachVersion:
    return things.approach_version(loss_pct=Decimal("15.0"), seconds=600)


def roast(version: ApproachVersion, machine: Machine | None, losses: list[float]) -> list[Batch]:
    """One batch a day, the last one yesterday."""
    return [
        things.batch(
            approach_version=version,
            machine=machine,
            green_g=100_000,
            roasted_g=round(100_000 * (1 - loss / 100)),
            seconds=600 + i % 3,
            roasted_at=things.NOW - dt.timedelta(days=len(losses) - i),
        )
        for i, loss in enumerate(losses)
    ]


def test_a_drift_is_found_and_its_first_signal_said_in_words(
    roaster: Person, signed_in: As, version: ApproachVersion, machine: Machine
) -> None:
    losses = [15 + n for n in NOISE * 2] + [15 - 0.12 * i for i in range(1, 8)]
    batches = roast(version, machine, losses)
    client = signed_in(roaster)
    asked = {"machine": machine.pk, "measure": "loss", "kind": "cusum"}
    page = client.get(f"/keeping/charts/{version.approach_id}/", asked).context["page"]
    room = control_chart(losses, "cusum", baseline=20)
    assert room.first is not None
    assert room.first > 20
    number = batches[room.first].number
    assert page.sentence.startswith(f"Batch {number} is the first out of control: loss in %")
    assert "low since batch" in page.sentence
    assert page.signals[0].batch == batches[room.first]
    listed = client.get("/keeping/")
    assert "1 chart shows a signal." in listed.text
    cells = {c.name: (c.state, c.said) for c in listed.context["page"].rows[0].cells}
    assert cells["loss"][0] == "signal"
    assert cells["roast time"][0] == "in control"
    assert cells["colour"] == ("few", "0 batches")


@pytest.mark.parametrize("kind", ["individuals", "ewma", "cusum"])
def test_a_chart_in_control_says_so(
    kind: str, roaster: Person, signed_in: As, version: ApproachVersion, machine: Machine
) -> None:
    roast(version, machine, [15 + n for n in NOISE * 2])
    asked = {"machine": machine.pk, "kind": kind}
    answer = signed_in(roaster).get(f"/keeping/charts/{version.approach_id}/", asked)
    page = answer.context["page"]
    assert page.sentence.startswith("The loss in % is in control: all 20 points")
    assert page.picture is not None
    assert "<svg" in answer.text


def test_a_moved_target_is_no_signal(
    roaster: Person, signed_in: As, version: ApproachVersion, machine: Machine
) -> None:
    roast(version, machine, [15 + n for n in NOISE])
    Batch.objects.update(roasted_at=things.NOW - dt.timedelta(days=30))
    further = things.approach_version(
        approach=version.approach, loss_pct=Decimal("16.5"), seconds=600
    )
    roast(further, machine, [16.5 + n for n in NOISE])
    page = (
        signed_in(roaster)
        .get(f"/keeping/charts/{version.approach_id}/", {"machine": machine.pk})
        .context["page"]
    )
    assert "is in control: all 20 points agree with chance around 16.5" in page.sentence


def test_void_batches_and_other_machines_stay_out(
    roaster: Person, signed_in: As, version: ApproachVersion, machine: Machine
) -> None:
    roast(version, machine, [15 + n for n in NOISE])
    roast(version, things.machine(), [25.0] * 3)
    odd = roast(version, machine, [30.0])[0]
    Batch.objects.filter(pk=odd.pk).update(void=True)
    asked = {"machine": machine.pk}
    page = signed_in(roaster).get(f"/keeping/charts/{version.approach_id}/", asked).context["page"]
    assert "all 10 points" in page.sentence


def test_few_batches_have_points_but_no_limits(
    roaster: Person, signed_in: As, version: ApproachVersion, machine: Machine
) -> None:
    roast(version, machine, [15.0, 15.2, 14.9])
    asked = {"machine": machine.pk}
    page = signed_in(roaster).get(f"/keeping/charts/{version.approach_id}/", asked).context["page"]
    assert page.sentence == "3 of 5 batches: limits from fewer would mean nothing."
    assert page.picture is not None
    assert page.picture.levels == ()


def test_charts_begin_anew_with_a_date_and_a_reason(
    roaster: Person, signed_in: As, version: ApproachVersion, machine: Machine
) -> None:
    roast(version, machine, [15 + n for n in NOISE] + [13 + n for n in NOISE])
    client = signed_in(roaster)
    there = f"/keeping/charts/{version.approach_id}/?machine={machine.pk}"
    assert "out of control" in client.get(there).context["page"].sentence
    anew = f"/keeping/charts/{version.approach_id}/anew/?machine={machine.pk}"
    since = (things.NOW - dt.timedelta(days=10)).date()
    sent = {"since": since.isoformat(), "size": "20", "reason": ""}
    assert client.post(anew, sent).status_code == 422
    answer = client.post(anew, sent | {"reason": "new burner"})
    assert answer.headers["Location"] == there
    page = client.get(there).context["page"]
    assert "is in control: all 10 points agree with chance around 13" in page.sentence
    assert (page.baseline.reason, page.baseline.by) == ("new burner", roaster)
    assert Change.objects.get(verb="began the charts anew of").note == "new burner"
    assert "begin on" in client.post(anew, sent | {"reason": "again"}).text
    later = sent | {"since": "2091-01-01", "reason": "x"}
    assert "still to come" in client.post(anew, later).text
    assert Baseline.objects.count() == 1
    with pytest.raises(IntegrityError), transaction.atomic():
        Baseline.objects.update(reason="")


def test_taste_is_charted_in_its_own_standard_deviations(
    roaster: Person, signed_in: As, version: ApproachVersion, machine: Machine
) -> None:
    """Seven sisters of which the last has two points less body."""
    batches = roast(version, machine, [15 + n for n in NOISE[:7]])
    effects = {b: {"body": 0.0} for b in batches} | {batches[-1]: {"body": -2.0}}
    tables.reveal(effects, held_at=things.NOW + dt.timedelta(days=1))
    client = signed_in(roaster)
    asked = {"machine": machine.pk, "measure": "taste-body"}
    page = client.get(f"/keeping/charts/{version.approach_id}/", asked).context["page"]
    values = [p.value for p in page.picture.series[0].points]
    assert len(values) == 7
    assert int(np.argmin(values)) == 6
    assert values[6] < -1.8
    assert max(abs(v) for v in values[:6]) < 1.5
    assert page.is_taste
    other = client.get(
        f"/keeping/charts/{version.approach_id}/", asked | {"measure": "taste-fruit"}
    ).context["page"]
    assert "in control" in other.sentence


def test_a_viewer_reads_charts_and_resets_none(
    viewer: Person, signed_in: As, version: ApproachVersion
) -> None:
    client = signed_in(viewer)
    page = client.get(f"/keeping/charts/{version.approach_id}/")
    assert page.status_code == 200
    assert "Begin the charts anew" not in page.text
    sent = {"since": "2026-01-01", "size": "20", "reason": "x"}
    assert client.post(f"/keeping/charts/{version.approach_id}/anew/", sent).status_code == 403
    assert client.get("/keeping/charts/99999/").status_code == 404
    assert client.get(f"/keeping/charts/{version.approach_id}/?machine=99999").status_code == 404


def test_the_overview_costs_no_more_queries_when_it_grows(
    roaster: Person, signed_in: As, machine: Machine
) -> None:
    client = signed_in(roaster)

    def grow() -> int:
        for _ in range(2):
            roast(things.approach_version(), machine, [15 + n for n in NOISE])
        with CaptureQueriesContext(connection) as made:
            client.get("/keeping/")
        return len(made)

    assert grow() == grow()


def test_expected_losses_are_shown_with_their_doubt_and_by_lot(
    viewer: Person, signed_in: As, version: ApproachVersion, machine: Machine
) -> None:
    roast(version, machine, [15 + n for n in NOISE])
    client = signed_in(viewer)
    page = client.get("/keeping/losses/").context["page"]
    assert (page.rows[0].mean, page.rows[0].batches) == ("15.0 %", 10)
    one = client.get(f"/keeping/losses/?lot={version.approach.lot_id}").context["page"]
    assert one.sentence.startswith(f"Plan {version.approach} with a loss of 15.0 %")
    assert len(one.over_time.series[0].points) == 10
    assert client.get("/keeping/losses/?lot=99999").status_code == 404
