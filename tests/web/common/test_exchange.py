"""A table comes in whole or not at all, after a dry run, and nobody else's."""

from __future__ import annotations

import io
import os
import re
import time
from pathlib import Path

import openpyxl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test import Client

from coupage.web.coffees.models import Lot
from coupage.web.common import uploads
from coupage.web.people.models import Person
from coupage.web.places import data_folder
from tests.web.conftest import As

pytestmark = pytest.mark.usefixtures("pages")
CLEAN = b"lot;price\r\nAmber;7,5\r\nLantern;6,25\r\n"


@pytest.fixture
def client(roaster: Person, signed_in: As) -> Client:
    return signed_in(roaster)


def send(client: Client, data: bytes, name: str = "lots.csv", to: str = "lots") -> HttpResponse:
    response: HttpResponse = client.post(
        f"/{to}/import/", {"table": SimpleUploadedFile(name, data)}
    )
    return response


def token(response: HttpResponse) -> str:
    found = re.search(r'name="take" value="([^"]+)"', response.text)
    assert found, response.text
    return found[1]


def kept() -> list[Path]:
    return list((data_folder() / "uploads").iterdir())


@pytest.fixture(autouse=True)
def no_leftovers() -> None:
    (data_folder() / "uploads").mkdir(exist_ok=True)
    for place in kept():
        place.unlink()


def test_a_clean_file_waits_for_the_word_and_then_is_all_there(client: Client) -> None:
    dry = send(client, CLEAN)
    assert dry.status_code == 200
    assert "2 lots are new." in dry.text
    assert not Lot.objects.exists()
    done = client.post("/lots/import/", {"take": token(dry)})
    assert done.status_code == 302
    assert done.headers["Location"] == "/coffees/"
    assert set(Lot.objects.values_list("name", flat=True)) == {"Amber", "Lantern"}
    assert "took in 2 lots" in client.get("/coffees/").text
    assert kept() == []


def test_a_bad_file_lists_row_column_and_remedy_and_writes_nothing(client: Client) -> None:
    response = send(client, b"lot,price\nAmber,cheap\n,3\n")
    assert response.status_code == 422
    cells = re.findall(r'data-label="[^"]+">([^<]*)<', response.text.split("</tbody>")[0])
    assert cells[:2] == ["2", "price"]
    assert "not a number; write it like" in cells[2]
    assert cells[3:5] == ["3", "lot"]
    assert "Take it in" not in response.text
    assert not Lot.objects.exists()
    assert kept() == []


def test_what_the_database_knows_is_checked_in_the_dry_run(client: Client) -> None:
    Lot.objects.create(name="Amber", origin="Kenya", price_per_kg=5)
    response = send(client, CLEAN)
    assert response.status_code == 422
    assert "is there already; leave the row out" in response.text


def test_what_changed_since_the_dry_run_is_found_before_writing(client: Client) -> None:
    dry = send(client, CLEAN)
    Lot.objects.create(name="Lantern", origin="Kenya", price_per_kg=5)
    response = client.post("/lots/import/", {"take": token(dry)})
    assert response.status_code == 409
    assert "Something changed between the check and now." in response.text
    assert "leave the row out" in response.text  # our remedy, not the database's refusal
    assert Lot.objects.count() == 1


def test_a_refusal_half_way_takes_everything_back(client: Client) -> None:
    dry = send(client, b"lot,price,note\nAmber,7,\nLantern,6,break\n")
    response = client.post("/lots/import/", {"take": token(dry)})
    assert response.status_code == 409
    assert "the last row cannot be written" in response.text
    assert not Lot.objects.exists()


def test_a_file_is_taken_in_once(client: Client) -> None:
    taken = token(send(client, CLEAN))
    client.post("/lots/import/", {"take": taken})
    again = client.post("/lots/import/", {"take": taken})
    assert again.status_code == 409
    assert "no longer here" in again.text
    assert Lot.objects.count() == 2


def test_a_token_is_worth_nothing_to_another_person_or_for_another_table(
    client: Client, owner: Person, signed_in: As
) -> None:
    taken = token(send(client, CLEAN))
    assert signed_in(owner).post("/lots/import/", {"take": taken}).status_code == 409
    assert client.post("/other/import/", {"take": taken}).status_code == 409
    assert not Lot.objects.exists()
    assert client.post("/lots/import/", {"take": taken}).status_code == 302


@pytest.mark.parametrize("guess", ["", "../coupage.sqlite3", "x" * 32, "é"])
def test_a_guessed_token_is_worth_nothing(client: Client, guess: str) -> None:
    send(client, CLEAN)
    assert client.post("/lots/import/", {"take": guess}).status_code == 409
    assert not Lot.objects.exists()


def test_a_file_changed_on_the_disk_is_not_taken_in(client: Client) -> None:
    taken = token(send(client, CLEAN))
    kept()[0].write_bytes(CLEAN.replace(b"7,5", b"0,5"))
    assert client.post("/lots/import/", {"take": taken}).status_code == 409
    assert not Lot.objects.exists()


def test_a_file_is_gone_after_its_hour(client: Client) -> None:
    taken = token(send(client, CLEAN))
    old = time.time() - uploads.LIFETIME_SECONDS - 1
    os.utime(kept()[0], (old, old))
    assert client.post("/lots/import/", {"take": taken}).status_code == 409
    assert kept() == []


def test_old_files_of_others_are_swept_and_ones_own_is_replaced(client: Client) -> None:
    stale = data_folder() / "uploads" / "stale"
    stale.write_bytes(b"x")
    os.utime(stale, (1, 1))
    send(client, CLEAN)
    send(client, CLEAN)
    assert len(kept()) == 1
    assert kept()[0].stat().st_mode & 0o077 == 0
    client.post("/lots/import/", {"drop": "yes"})
    assert kept() == []


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("lots.pdf", b"%PDF-1.7", "neither CSV nor XLSX"),
        ("lots.csv", b"", "empty"),
        ("lots.xlsx", b"PK\x03\x04 not really", "lots.xlsx"),
    ],
)
def test_what_is_not_a_table_is_said_to_be_none(
    client: Client, name: str, data: bytes, said: str
) -> None:
    response = send(client, data, name)
    assert response.status_code == 422
    assert said in response.text
    assert not Lot.objects.exists()


def test_no_file_at_all_is_said_beside_the_box(client: Client) -> None:
    response = client.post("/lots/import/", {})
    assert response.status_code == 422
    assert "Choose a file first." in response.text


def test_a_file_name_cannot_write_into_the_page(client: Client) -> None:
    assert "<img" not in send(client, CLEAN, "<img src=x>.csv").text


def test_the_empty_table_has_the_headings_and_takes_part_in_a_round_trip(client: Client) -> None:
    empty = client.get("/lots/import/?file=csv")
    assert empty.content.decode("utf-8-sig").split() == ["lot,price,note"]
    assert 'filename="green-lots-empty.csv"' in empty.headers["Content-Disposition"]


def test_an_export_is_guarded_and_reads_back(client: Client) -> None:
    # OWASP, "CSV Injection": a cell that begins with = + - @ must not start a formula.
    csv = client.get("/lots/export/")
    assert csv.headers["Content-Type"].startswith("text/csv")
    assert not re.search(r"(^|,)=", csv.content.decode("utf-8-sig"), re.M)
    xlsx = client.get("/lots/export/?file=xlsx")
    sheet = openpyxl.load_workbook(io.BytesIO(xlsx.content)).active
    assert sheet is not None
    assert [c.value for c in sheet[1]] == ["lot", "price", "note"]
    assert sheet["A2"].data_type != "f"
    assert sheet["B2"].value == 7.5
    dry = send(client, csv.content)
    client.post("/lots/import/", {"take": token(dry)})
    assert Lot.objects.get().name == "=1+1"
