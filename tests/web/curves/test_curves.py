"""Curves: taken in, held against a reference or a band, looked at by the machine's own phases."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext

from coupage.web.batches.models import Batch, Machine
from coupage.web.coffees.models import ApproachVersion
from coupage.web.curves.models import FileColumns, PhaseMark, Probe, ReferenceCurve, RoastCurve
from coupage.web.people.models import Change, Person
from tests.web import things
from tests.web.conftest import As
from tests.web.curves import logs

pytestmark = pytest.mark.django_db


@pytest.fixture
def machine() -> Machine:
    return things.machine()


@pytest.fixture
def version() -> ApproachVersion:
    return things.approach_version()


def roasted(version: ApproachVersion, machine: Machine, days_ago: int = 0, **more: object) -> Batch:
    at = things.NOW - dt.timedelta(days=days_ago)
    return things.batch(approach_version=version, machine=machine, roasted_at=at, **more)


def send(client: Client, *files: object, **more: str) -> dict[str, list[dict[str, object]]]:
    answer = client.post(
        "/curves/take-in/",
        {"curves": list(files), **more},
        headers={"accept": "application/json"},
    )
    return answer.json()


def test_many_files_go_in_and_broken_ones_say_why(roaster: Person, signed_in: As) -> None:
    for number in ("R-1", "R-2", "R-3"):
        things.batch(number=number)
    broken = logs.csv(line="{t:.0f},none")
    few = b"seconds,bean temperature\n" + b"\n".join(b"%d,%d" % (i, 180 + i) for i in range(5))
    answer = send(
        signed_in(roaster),
        logs.file("R-1.csv", logs.csv()),
        logs.file("R-2 large drum.csv", logs.csv(shift=2)),
        logs.file("R-3.csv", broken),
        logs.file("R-3 again.csv", few),
        logs.file("R-99.csv", logs.csv()),
        logs.file("picture.csv", b"\x89PNG\r\n"),
    )
    found = {f["name"]: (f["ok"], f["said"]) for f in answer["files"]}
    assert found["R-1.csv"] == (True, "is the curve of R-1")
    assert found["R-2 large drum.csv"] == (True, "is the curve of R-2")
    assert "holds no temperatures" in str(found["R-3.csv"][1])
    assert "5 usable readings came" in str(found["R-3 again.csv"][1])
    assert "no batch of that number is known" in str(found["R-99.csv"][1])
    assert "is a picture" in str(found["picture.csv"][1])
    assert sorted(RoastCurve.objects.values_list("batch__number", flat=True)) == ["R-1", "R-2"]
    curve = RoastCurve.objects.get(batch__number="R-1")
    assert (curve.count, curve.duration_s, curve.drop_c) == (601, 600, Decimal("215.0"))
    assert Change.objects.get(kind="batches.batch", key=curve.batch_id).note == "R-1.csv"


def test_without_a_script_the_page_itself_tells_what_became_of_each_file(
    roaster: Person, signed_in: As
) -> None:
    things.batch(number="R-1")
    files = [logs.file("R-1.csv", logs.csv()), logs.file("R-9.csv", logs.csv())]
    page = signed_in(roaster).post("/curves/take-in/", {"curves": files})
    assert "1 curve is in; 1 file is not." in " ".join(page.text.split())
    assert "No batch of that number is known" in page.text


def test_jumps_and_gaps_are_tolerated_and_told(roaster: Person, signed_in: As) -> None:
    things.batch(number="R-1")
    rows = logs.csv().decode().splitlines()
    rows[200] = "199,260.0"  # a jump
    del rows[300:360]  # a minute without readings
    answer = send(signed_in(roaster), logs.file("R-1.csv", "\n".join(rows).encode()))
    assert answer["files"][0]["said"] == (
        "is the curve of R-1 (1 jumps left out; 61 s without readings)"
    )
    page = signed_in(roaster).get(f"/curves/{Batch.objects.get().pk}/")
    assert "61 s without readings" in page.text
    assert "M" in page.context["page"].chart.picture()


def test_new_columns_are_asked_for_once_and_remembered(roaster: Person, signed_in: As) -> None:
    for number in ("R-1", "R-2"):
        things.batch(number=number)
    client = signed_in(roaster)
    data = logs.csv(heading="Zeit;Luft;Bohne", line="{t:.0f};300;{c:.2f}")
    first = send(client, logs.file("R-1.csv", data))["files"][0]
    columns = FileColumns.objects.get()
    assert first["columns"] == f"/curves/columns/{columns.pk}/"
    assert "its columns are new ('Zeit', 'Luft', 'Bohne')" in str(first["said"])
    part = client.get(f"/curves/columns/{columns.pk}/?part").text
    assert "<html" not in part
    assert "190.00" in part, "the first rows are shown"
    named = {"time_column": "Zeit", "time_unit": "s", "bean_column": "Bohne", "revision": "1"}
    assert client.post(f"/curves/columns/{columns.pk}/?part", named).status_code == 204
    assert send(client, logs.file("R-1.csv", data))["files"][0]["ok"]
    again = data.replace(b"Zeit;Luft", b"ZEIT ;luft")
    assert send(client, logs.file("R-2.csv", again))["files"][0]["ok"], "capitals do not matter"
    assert FileColumns.objects.count() == 1
    told = client.post(f"/curves/columns/{columns.pk}/", named | {"bean_column": "Luft"})
    assert "Somebody else saved this first" in told.text
    same = client.post(f"/curves/columns/{columns.pk}/?part", named | {"bean_column": "Zeit"})
    assert (same.status_code, "One column cannot be both" in same.text) == (422, True)


def test_a_curve_gives_way_only_when_told_to(roaster: Person, signed_in: As) -> None:
    things.batch(number="R-1")
    client = signed_in(roaster)
    send(client, logs.file("R-1.csv", logs.csv()))
    same = send(client, logs.file("R-1.csv", logs.csv()))["files"][0]
    assert (same["ok"], same["said"]) == (True, "the very curve of R-1 is in already")
    other = logs.file("R-1 new.csv", logs.csv(shift=5))
    assert "has a curve already, from R-1.csv" in str(send(client, other)["files"][0]["said"])
    assert RoastCurve.objects.get().filename == "R-1.csv"
    other = logs.file("R-1 new.csv", logs.csv(shift=5))
    assert send(client, other, replace="on")["files"][0]["ok"]
    assert RoastCurve.objects.get().filename == "R-1 new.csv"


def test_a_name_that_fits_two_batches_is_refused_and_the_longer_number_wins(
    roaster: Person, signed_in: As
) -> None:
    for number in ("12", "14", "R-12"):
        things.batch(number=number)
    client = signed_in(roaster)
    assert send(client, logs.file("R-12.csv", logs.csv()))["files"][0]["said"] == (
        "is the curve of R-12"
    )
    two = send(client, logs.file("12 and 14.csv", logs.csv()))["files"][0]
    assert "its name fits" in str(two["said"])


def test_a_curve_is_taken_in_from_its_batch_whatever_its_name(
    roaster: Person, signed_in: As
) -> None:
    batch = things.batch()
    files = {"curves": [logs.file("log (3).csv", logs.csv())]}
    client = signed_in(roaster)
    assert "Take a curve in" in client.get(f"/curves/{batch.pk}/").text
    client.post(f"/curves/take-in/?batch={batch.pk}", files)
    assert RoastCurve.objects.get().batch == batch
    assert client.get("/curves/take-in/?batch=99999").status_code == 404


def test_a_curve_is_held_against_the_chosen_reference(
    roaster: Person, signed_in: As, machine: Machine, version: ApproachVersion
) -> None:
    """Three degrees above a reference with a band of two: outside all the way, 3 °C·min a minute.

    With 90 s left out after charge, 510 s are compared: 3 x 8.5 = 25.5 °C·min.
    """
    model, roast = roasted(version, machine, 9), roasted(version, machine, 1)
    logs.stored(model)
    logs.stored(roast, shift=3)
    client = signed_in(roaster)
    client.post(f"/curves/{model.pk}/reference/", {"reason": "the sweetest so far"})
    page = client.get(f"/curves/{roast.pk}/").context["page"]
    assert page.sentence.startswith("It left the band from 1:30 to 10:00, by up to +3.0 °C")
    facts = dict(page.facts)
    assert facts["Area between the curves"] == "25.5 °C·min"
    assert facts["Time outside the band"] == "510 s"
    assert [(r.start, r.end, r.largest) for r in page.outside] == [("1:30", "10:00", "+3.0")]
    assert page.previous == model


def test_a_reference_is_dated_reasoned_and_one_at_a_time(
    roaster: Person, signed_in: As, machine: Machine, version: ApproachVersion
) -> None:
    first, second = roasted(version, machine, 9), roasted(version, machine, 1)
    logs.stored(first)
    logs.stored(second, shift=1)
    client = signed_in(roaster)
    told = client.post(f"/curves/{first.pk}/reference/", {"reason": ""})
    assert "Say why; whoever reads" in told.text
    client.post(f"/curves/{first.pk}/reference/", {"reason": "good"})
    client.post(f"/curves/{second.pk}/reference/", {"reason": "better"})
    now = ReferenceCurve.objects.get(ended_at=None)
    assert (now.curve.batch, now.reason, now.by) == (second, "better", roaster)
    assert ReferenceCurve.objects.count() == 2
    client.post(f"/curves/{second.pk}/reference/end/")
    assert not ReferenceCurve.objects.filter(ended_at=None).exists()
    with pytest.raises(IntegrityError), transaction.atomic():
        for _ in range(2):
            ReferenceCurve.objects.create(
                approach=version.approach,
                curve=now.curve,
                reason="x",
                at=things.NOW,
                by=roaster,
            )


def test_the_band_comes_from_other_released_roasts_only(
    roaster: Person, signed_in: As, machine: Machine, version: ApproachVersion
) -> None:
    """Three released, one held, one of another machine: no band. A fourth released: a band."""
    for days, shift in ((9, -1.0), (8, 0.0), (7, 1.0)):
        logs.stored(roasted(version, machine, days, verdict="release"), shift=shift)
    logs.stored(roasted(version, machine, 6, verdict="hold"), shift=30)
    logs.stored(roasted(version, things.machine(), 6, verdict="release"), shift=30)
    roast = roasted(version, machine, 1, verdict="release")
    logs.stored(roast, shift=9)
    client = signed_in(roaster)
    page = client.get(f"/curves/{roast.pk}/").context["page"]
    assert page.sentence.endswith("(there are 3 besides this one).")
    logs.stored(roasted(version, machine, 5, verdict="release"), shift=0.5)
    page = client.get(f"/curves/{roast.pk}/").context["page"]
    assert page.held_against == "the band that 4 released roasts kept to"
    assert page.sentence.startswith("It left the band")
    assert dict(page.facts)["Largest deviation"].startswith("+8.9 °C")


def test_phases_end_at_the_temperatures_of_the_machine(
    roaster: Person, signed_in: As, machine: Machine, version: ApproachVersion
) -> None:
    """80 + 135 (t / 600)^0.75 passes 150 °C at 600 (70 / 135)^(4/3) = 250 s, 190 at 457."""
    batch = roasted(version, machine)
    logs.stored(batch)
    client, address = signed_in(roaster), f"/curves/machines/{machine.pk}/"
    assert "No phases are named" in client.get(f"/curves/{batch.pk}/").text
    sent = {"align": "charge", "band_c": "2,5", "smoothing_s": "31", "skip_s": "60"}
    marks = {"mark_0": "yellow", "degrees_0": "150", "mark_1": "crack", "degrees_1": "190"}
    client.post(address, sent | marks | {"revision": "1"})
    probe = Probe.objects.get()
    assert (probe.band_c, probe.skip_s) == (Decimal("2.5"), 60)
    page = client.get(f"/curves/{batch.pk}/").context["page"]
    assert [(row.until, row.length) for row in page.phases] == [
        ("yellow", "4:10"),
        ("crack", "3:27"),
        ("drop", "2:23"),
    ]
    told = client.post(address, sent | {"mark_0": "yellow", "revision": "1"})
    assert "Say at which temperature it ends." in told.text
    client.post(address, sent | {"band_c": "3", "revision": "1"})
    assert Probe.objects.get().band_c == 3
    assert not PhaseMark.objects.exists()
    stale = client.post(address, sent | {"band_c": "4", "revision": "1"})
    assert "Somebody else saved this first" in stale.text


def test_a_void_curve_is_held_against_nothing_and_comes_back(
    roaster: Person, signed_in: As, machine: Machine, version: ApproachVersion
) -> None:
    batch = roasted(version, machine)
    logs.stored(batch)
    client = signed_in(roaster)
    client.post(f"/curves/{batch.pk}/void/")
    assert "Its curve is void." in client.get(f"/curves/{batch.pk}/").text
    assert not client.get("/curves/").context["page"].curves.rows
    client.post(f"/curves/{batch.pk}/void/?back")
    assert client.get("/curves/").context["page"].curves.rows


def test_readings_go_out_as_they_came_in(roaster: Person, signed_in: As) -> None:
    batch = things.batch(number="R-1")
    client = signed_in(roaster)
    send(client, logs.file("R-1.csv", logs.csv()))
    out = client.get(f"/curves/{batch.pk}/readings/").content
    Batch.objects.filter(pk=batch.pk).update(number="R-2")
    send(client, logs.file("R-2.csv", out), replace="on")
    assert RoastCurve.objects.get().filename == "R-1.csv", "the very same curve"


def test_a_viewer_reads_curves_and_takes_none_in(viewer: Person, signed_in: As) -> None:
    batch = things.batch(number="R-1")
    logs.stored(batch)
    client = signed_in(viewer)
    page = client.get(f"/curves/{batch.pk}/")
    assert page.status_code == 200
    assert "Make this the reference" not in page.text
    files = {"curves": [logs.file("R-1.csv", logs.csv())]}
    assert client.post("/curves/take-in/", files).status_code == 403
    assert client.post(f"/curves/{batch.pk}/reference/", {"reason": "x"}).status_code == 403


def test_the_list_costs_no_more_queries_when_it_grows(
    roaster: Person, signed_in: As, machine: Machine
) -> None:
    client = signed_in(roaster)

    def grow() -> int:
        for _ in range(6):
            logs.stored(things.batch(machine=things.machine()))
        with CaptureQueriesContext(connection) as made:
            client.get("/curves/")
        return len(made)

    assert grow() == grow()
