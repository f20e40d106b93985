"""Labels, the recall report and the EPCIS document, against the standard's own schema."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import segno
from django.test import Client
from reportlab import rl_config

from coupage.web.people.models import Person
from coupage.web.production import actions
from coupage.web.production.epcis import Names, epcis_document
from coupage.web.production.labels import label_of
from coupage.web.production.models import PackingRules, Run
from coupage.web.production.recall import find_start, recall_of
from tests.web import things
from tests.web.conftest import As
from tests.web.production import making
from tests.web.production.making import TODAY

pytestmark = pytest.mark.django_db
REFERENCE = Path(__file__).parents[2] / "references" / "epcis_2" / "EPCIS-JSON-Schema.json"


def checker() -> jsonschema.Draft7Validator:
    formats = jsonschema.FormatChecker(formats=())
    formats.checks("uri")(lambda v: not isinstance(v, str) or bool(_URI.fullmatch(v)))
    formats.checks("date-time")(lambda v: bool(_TIME.fullmatch(str(v))))
    return jsonschema.Draft7Validator(json.loads(REFERENCE.read_text()), format_checker=formats)


_URI = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*:[^\s<>\"{}|\\^`]+")
_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)")


@pytest.fixture
def story(roaster: Person) -> Run:
    """Two runs, the second with a rest of the first; bags sent, some come back."""
    recipe = making.recipe(60, 40)
    a, b = making.batch_of(recipe, 0), making.batch_of(recipe, 1)
    first = making.run({a: 3_000, b: 2_000}, of=recipe, by=roaster)
    making.pack(recipe.blend, 250, gtin="06291041500213", per_box=12)
    row = making.packed(first, 12, 250)
    second = making.run({first: 1_000, a: 1_000}, of=recipe, by=roaster)
    other = making.packed(second, 2, 1_000)
    counter = making.customer(name="Counter & Sons <Quay>")
    line = making.sent(counter, {row: 8, other: 1}).lines.get(packed=row)
    actions.receive_return(
        line=line, bags=3, reason="too many", on=TODAY, by=roaster, at=things.NOW
    )
    return first


def document(kind: str, key: int, base: str = "") -> dict[str, Any]:
    return epcis_document(recall_of(kind, key), names=Names("Test", base), at=things.NOW)


@pytest.mark.parametrize("base", ["", "https://coffee.example/"])
@pytest.mark.parametrize("kind", ["lot", "batch", "run"])
def test_events_hold_to_the_published_schema(story: Run, kind: str, base: str) -> None:
    batch = story.parts.get(place=1).batch
    key = {
        "lot": batch.approach_version.approach.lot_id,
        "batch": batch.pk,
        "run": story.pk,
    }[kind]
    made = document(kind, key, base)
    assert [error.message for error in checker().iter_errors(made)] == []
    kinds = [event["type"] for event in made["epcisBody"]["eventList"]]
    assert kinds.count("TransformationEvent") == {"lot": 3, "batch": 3, "run": 4}[kind]
    assert "ObjectEvent" in kinds


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("eventTimeZoneOffset",), None),
        (("action",), "SEND"),
        (("bizStep",), "posting"),
        (("quantityList", 0, "epcClass"), None),
        (("quantityList", 0, "uom"), "kilograms"),
    ],
)
def test_the_schema_would_find_a_fault(story: Run, path: tuple[Any, ...], value: Any) -> None:
    made = document("run", story.pk)
    sent = next(e for e in made["epcisBody"]["eventList"] if e.get("bizStep") == "shipping")
    inside: Any = sent
    for step in path[:-1]:
        inside = inside[step]
    if value is None:
        del inside[path[-1]]
    else:
        inside[path[-1]] = value
    assert not checker().is_valid(made)


def test_masses_of_events_are_those_of_the_ledgers(story: Run) -> None:
    made = document("run", story.pk, "https://coffee.example")
    events = made["epcisBody"]["eventList"]
    blend = next(
        e for e in events if e.get("transformationID", "").endswith(f"/run/{story.lot_code}")
    )
    taken = {row["epcClass"]: row["quantity"] for row in blend["inputQuantityList"]}
    assert sorted(taken.values()) == [2.0, 3.0]
    assert {row["uom"] for row in blend["inputQuantityList"]} == {"KGM"}
    out = {row["epcClass"]: row["quantity"] for row in blend["outputQuantityList"]}
    bags = f"https://id.gs1.org/01/06291041500213/10/{story.lot_code}"
    assert out == {bags: 12, f"https://coffee.example/loose/{story.lot_code}": 2.0}
    shipped = next(e for e in events if e.get("bizStep") == "shipping")
    assert {"epcClass": bags, "quantity": 8} in shipped["quantityList"]
    back = [e for e in events if e.get("disposition") == "returned"]
    assert [row["quantity"] for e in back for row in e["quantityList"]] == [3]


def test_who_received_what_and_what_is_here_add_up(story: Run) -> None:
    lot = story.parts.get(place=1).batch.approach_version.approach.lot
    recall = recall_of("lot", lot.pk)
    assert {(r.packed.run.lot_code, r.bags) for r in recall.received} == {
        (story.lot_code, 5),
        ("140326-2", 1),
    }
    here = {(row.what, row.name): row.mass_g for row in recall.here}
    assert here["bags", story.lot_code] == 7 * 250
    assert here["bags", "140326-2"] == 1_000
    assert here["loose blend", story.lot_code] == 1_000
    assert here["roasted", story.parts.get(place=1).batch.number] == 10_200 - 4_000
    assert [run.lot_code for run in recall.later_runs] == [story.lot_code, "140326-2"]


@pytest.mark.parametrize("write", ["L {}", "{}", "(01)06291041500213(10){}", "l{}"])
def test_a_code_is_found_however_it_is_written(story: Run, write: str) -> None:
    assert find_start(write.format(story.lot_code)) == ("run", story.pk)


def test_a_code_of_nothing_finds_nothing(story: Run) -> None:
    assert find_start("") is None
    assert find_start("nowhere") is None
    batch = story.parts.get(place=1).batch
    assert find_start(batch.number) == ("batch", batch.pk)
    assert find_start(batch.approach_version.approach.lot.name)[0] == "lot"


def test_the_report_is_a_pdf_and_the_table_reads_back(
    story: Run, roaster: Person, signed_in: As
) -> None:
    rl_config.invariant = 1
    client: Client = signed_in(roaster)
    answer = client.get(f"/production/trace/run/{story.pk}/report.pdf")
    assert answer.headers["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")
    assert answer.content.count(b"/Type /Page\n") == 1
    table = client.get(f"/production/trace/run/{story.pk}/report/")
    rows = list(csv.DictReader(io.StringIO(table.content.decode("utf-8-sig"))))
    assert {row["who"] for row in rows if row["where"] == "received"} == {"Counter & Sons <Quay>"}
    events = client.get(f"/production/trace/run/{story.pk}/epcis/")
    assert events.json()["type"] == "EPCISDocument"


def test_a_label_says_what_the_law_wants_and_the_code_holds_it(story: Run) -> None:
    packed = story.packed.get()
    label = label_of(story, packed.pack, PackingRules(), box=False)
    assert label.lot == f"L {story.lot_code}"
    assert re.fullmatch(r"\d\d\.\d\d\.\d{4}", label.best_before)
    assert label.elements == (
        f"(01)06291041500213(13)260314(15){story.best_before:%y%m%d}(10){story.lot_code}"
    )
    assert label.qr_holds == label.elements
    own = PackingRules(link_base="https://coffee.example/", letter_l=False)
    linked = label_of(story, packed.pack, own, box=False)
    assert linked.lot == story.lot_code
    assert linked.qr_holds.startswith("https://coffee.example/01/06291041500213/10/140326-1?15=")
    box = label_of(story, packed.pack, own, box=True)
    assert (box.content, box.elements, box.qr_holds) == ("12 × 250 g", "", story.lot_code)
    modules = segno.make_qr(label.qr_holds, error="m").symbol_size(border=4)[0]
    assert f'viewBox="0 0 {modules} {modules}"' in label.qr


def test_sheets_show_cautions_codes_and_weights(story: Run, roaster: Person, signed_in: As) -> None:
    client: Client = signed_in(roaster)
    sheet = client.get(f"/production/runs/{story.pk}/sheet/").text
    for said in ("carbon monoxide", "60 to 70 kg", "chaff", "feels ill", "3.000 kg", "L 140326-1"):
        assert said.lower() in sheet.lower(), said
    packed = story.packed.get()
    address = f"/production/runs/{story.pk}/labels/"
    labels = client.get(address, {"packed": packed.pk, "what": "bag", "count": "3"}).text
    assert labels.count("(01)06291041500213") == 3
    assert labels.count("<svg") >= 3
    dispatch = packed.lines.get().dispatch
    note = client.get(f"/production/dispatches/{dispatch.pk}/note/").text
    assert "L 140326-1" in note
