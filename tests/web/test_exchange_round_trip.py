"""Every table of the installation goes out and comes in again, and says what a file gets wrong."""

from __future__ import annotations

from io import BytesIO

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from coupage.sheets import read_table, write_csv, write_xlsx
from coupage.web.batches.models import Batch
from coupage.web.coffees.models import ApproachVersion, Lot, StockEntry
from coupage.web.people.models import Person
from coupage.web.tables import door, doors
from tests.web import things
from tests.web.conftest import As
from tests.web.production import making

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(roaster: Person, signed_in: As) -> Client:
    return signed_in(roaster)


def bring(client: Client, address: str, data: bytes, name: str = "table.csv") -> str:
    """Upload, then confirm when the dry run is clean; the text of the dry run is returned."""
    file = SimpleUploadedFile(name, data)
    answer = client.post(address, {"table": file})
    token = answer.context.get("token")
    if token:
        client.post(address, {"take": token})
    return answer.text


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_every_table_goes_out_as_a_file_that_reads_back(client: Client, kind: str) -> None:
    table = things.cupping()
    things.rate_all(table)
    things.brief()
    things.recipe()
    things.machine()
    things.order()
    things.standing()
    row = making.packed(making.run({things.batch(): 5_000}), 12)
    making.sent(making.customer(), {row: 5})
    for each in doors():
        data = {"csv": write_csv, "xlsx": write_xlsx}[kind](each.layout(), each.rows())
        rows = read_table(data, f"{each.name}.{kind}", each.layout()).rows
        assert len(rows) == len(list(each.rows())), each.name
        assert rows, each.name


LOTS = (
    "lot;origin;process;landed price;moisture (%);bag (kg);on hand (kg);received on;note\n"
    "Amber Ridge;Ethiopia;natural;8,20;10,9;60;300;2026-03-02;=1+1\n"
    "Birch Fall;Brazil;washed;5,10;11;60;;;\n"
)


def test_lots_come_in_with_semicolons_and_decimal_commas(client: Client) -> None:
    bring(client, "/coffees/lots/import/", LOTS.encode("cp1252"))
    lot = Lot.objects.get(name="Amber Ridge")
    assert (str(lot.price_per_kg), str(lot.moisture_pct), lot.bag_g) == ("8.2000", "10.9", 60_000)
    assert StockEntry.objects.get().mass_g == 300_000


def test_a_dry_run_lists_every_bad_row_and_writes_nothing(client: Client) -> None:
    bad = LOTS.replace("natural", "steamed").replace("5,10", "five").replace("Brazil", "")
    text = bring(client, "/coffees/lots/import/", bad.encode())
    for said in ("steamed", "five", "origin"):
        assert said in text
    assert not Lot.objects.exists()


def test_an_exported_table_comes_in_again_without_a_change(client: Client) -> None:
    version = things.approach_version(charge_g=12_000, loss_pct=15, colour=90, colour_scale="house")
    things.batch(approach_version=version)
    for name in ("lots", "approaches"):
        data = client.get(f"/coffees/{name}/export/?file=xlsx").content
        before = (Lot.objects.get().revision, ApproachVersion.objects.count())
        text = bring(client, f"/coffees/{name}/import/", data, f"{name}.xlsx")
        assert "0 new" in text
        assert (Lot.objects.get().revision, ApproachVersion.objects.count()) == before


def test_a_formula_in_a_note_goes_out_as_text_and_comes_back_as_it_was(client: Client) -> None:
    bring(client, "/coffees/lots/import/", LOTS.encode())
    data = client.get("/coffees/lots/export/").content
    assert b",=1+1" not in data
    rows = read_table(data, "lots.csv", door("lots").layout()).rows
    assert rows[0]["note"] == "=1+1"


def test_stock_of_a_known_lot_comes_by_the_stock_table_only(client: Client) -> None:
    bring(client, "/coffees/lots/import/", LOTS.encode())
    text = bring(client, "/coffees/lots/import/", LOTS.replace(";300;", ";310;").encode())
    assert "the books say 300 kg" in text
    stock = "lot,what,mass,date,reason\nAmber Ridge,count,-2.5,2026-03-09,counted\n"
    bring(client, "/coffees/stock/import/", stock.encode())
    assert StockEntry.objects.count() == 2
    assert "in the ledger already" in bring(client, "/coffees/stock/import/", stock.encode())
    assert StockEntry.objects.count() == 2


BATCHES = (
    "batch,lot,approach,roasted at,green in,roasted out\nR-1,{lot},omni,2026-03-10 08:15,12,10.2\n"
)


def test_batches_come_in_and_their_faults_are_named(client: Client) -> None:
    version = things.approach_version()
    good = BATCHES.format(lot=version.approach.lot.name)
    bring(client, "/batches/batches/import/", good.encode("utf-16"))
    assert Batch.objects.get(number="R-1").roasted_g == 10_200
    again = bring(client, "/batches/batches/import/", good.encode())
    assert "known already" in again
    bad = (
        good.replace("R-1", "R-2")
        + f"R-3,{version.approach.lot.name},espresso,2026-03-10,12,13\n"
        + "R-4,Nowhere,omni,2026-03-10,-12,10\n"
        + "R-2,Nowhere,omni,2026-03-10,12,10\n"
    )
    text = bring(client, "/batches/batches/import/", bad.encode())
    assert "green in" in text
    assert Batch.objects.count() == 1


def test_an_import_is_not_for_a_viewer(viewer: Person, signed_in: As) -> None:
    client = signed_in(viewer)
    assert client.post("/coffees/lots/import/", {"table": BytesIO(b"x")}).status_code == 403
    assert client.get("/coffees/lots/export/").status_code == 200
