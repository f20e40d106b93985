"""Samples, ratings and words go out and come in again, and a file's faults are named."""

from __future__ import annotations

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from coupage.sheets import read_ratings, write_csv
from coupage.web.cuppings.models import Attribute, Cupping, Rating, Sample, Taster, Word
from coupage.web.people.models import Person
from coupage.web.tables import door
from tests.web import things
from tests.web.conftest import As
from tests.web.cuppings.conftest import Table

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(roaster: Person, signed_in: As) -> Client:
    return signed_in(roaster)


def bring(client: Client, name: str, data: str | bytes, file: str = "table.csv") -> str:
    """Upload, then confirm when the dry run is clean; the text of the dry run is returned."""
    address = f"/cuppings/{name}/import/"
    raw = data.encode() if isinstance(data, str) else data
    answer = client.post(address, {"table": SimpleUploadedFile(file, raw)})
    token = answer.context.get("token")
    if token:
        assert client.post(address, {"take": token}).status_code == 302
    return " ".join(answer.text.split())


def names() -> None:
    for name in ("Ines", "Wren"):
        things.taster(name=name)
    for name in ("body", "acidity"):
        things.attribute(name)
    for label in ("Alder", "Birch"):
        things.sample(label=label)
    things.protocol()


LONG = (
    "cupping;taster;sample;cup;pass;attribute;rating\n"
    "Table of 2026-02-03;Ines;Alder;1;hot;body;6,5\n"
    "Table of 2026-02-03;Ines;Alder;2;hot;body;7\n"
    "Table of 2026-02-03;Wren;Birch;1;hot;Body;4\n"
    "Table of 2026-02-03;Wren;Birch;1;cool;acidity;5\n"
)


def test_a_table_held_elsewhere_comes_in_revealed(client: Client) -> None:
    names()
    text = bring(client, "ratings", LONG.encode("cp1252"))
    assert "a new table, revealed: Table of 2026-02-03, held 3 Feb 2026, 4 ratings" in text
    table = Cupping.objects.get()
    assert table.state == "revealed"
    assert table.held_at.date().isoformat() == "2026-02-03"
    assert [r.name for r in table.rounds.all()] == ["hot", "cool"]
    assert sorted((c.sample.label, c.number) for c in table.cups.all()) == [
        ("Alder", 1),
        ("Alder", 2),
        ("Birch", 1),
    ]
    assert sorted(float(r.value) for r in Rating.objects.all()) == [4, 5, 6.5, 7]
    page = client.get(f"/cuppings/{table.pk}/")
    assert page.status_code == 200
    seat = table.seats.get(taster__name="Ines")
    assert "6.5" in client.get(f"/cuppings/seats/{seat.pk}/sheet/").text


def test_the_wide_form_comes_in_too_with_its_notes_left_out(client: Client) -> None:
    names()
    wide = (
        "cupping,taster,sample,body,acidity,notes\n"
        "Friday,Ines,Alder,6.5,3,plum\n"
        "Friday,Wren,Alder,,4.5,\n"
    )
    bring(client, "ratings-wide", wide)
    table = Cupping.objects.get(name="Friday")
    assert [round_.name for round_ in table.rounds.all()] == ["taste"]
    assert Rating.objects.count() == 3


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("Monday;Nobody;Alder;1;hot;body;5", "there is no taster"),
        ("Monday;Ines;Elm;1;hot;body;5", "there is no sample"),
        ("Monday;Ines;Alder;1;hot;fizz;5", "there is no attribute"),
        ("Monday;Ines;Alder;1;hot;body;10,5", "above 10"),
        ("Monday;Ines;Alder;1;hot;body;five", "five"),
        ("Monday;Ines;Alder;1;hot;body;6,125", "more than two decimals"),
        ("Table of 2026-02-03;Ines;Alder;1;hot;body;6,5", "repeats row 2"),
    ],
)
def test_a_bad_row_is_named_and_nothing_is_written(row: str, said: str, client: Client) -> None:
    names()
    text = bring(client, "ratings", f"{LONG}{row}\n")
    assert said in text
    assert "6" in text, "the row in the file"
    assert not Cupping.objects.exists()
    assert not Rating.objects.exists()


def test_an_open_table_is_filled_by_code_or_by_sample(client: Client, table: Table) -> None:
    code, label = table.cups[0].code, table.cups[1].sample.label
    head = "cupping,taster,sample,pass,attribute,rating\n"
    rows = (
        f"Blind table,Own Tongue,{code},warm,body,5\n"
        f'Blind table,Guest Tongue,"{label}",cool,acidity,6\n'
    )
    text = bring(client, "ratings", head + rows)
    assert "2 new ratings" in text
    assert sorted(table.values()) == ["5", "6"]
    again = bring(client, "ratings", head + rows)
    assert "0 new ratings, 2 are there already" in again
    other = bring(client, "ratings", head + rows.replace(",5\n", ",7\n"))
    assert "holds 5 already" in other
    assert sorted(table.values()) == ["5", "6"]


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("Blind table,Stranger,{code},warm,body,5", "has no seat"),
        ("Blind table,Own Tongue,999,warm,body,5", "there is no cup 1 of"),
        ("Blind table,Own Tongue,{code},icy,body,5", "has no pass"),
        ("Blind table,Own Tongue,{code},warm,fizz,5", "does not ask for"),
    ],
)
def test_what_an_open_table_does_not_know_is_named(
    row: str, said: str, client: Client, table: Table
) -> None:
    head = "cupping,taster,sample,pass,attribute,rating\n"
    assert said in bring(client, "ratings", head + row.format(code=table.cups[0].code) + "\n")
    assert not Rating.objects.exists()


def test_one_cell_named_by_code_and_by_sample_is_one_too_many(client: Client, table: Table) -> None:
    cup = table.cups[0]
    text = bring(
        client,
        "ratings",
        "cupping,taster,sample,pass,attribute,rating\n"
        f"Blind table,Own Tongue,{cup.code},warm,body,5\n"
        f'Blind table,Own Tongue,"{cup.sample.label}",warm,body,6\n',
    )
    assert "rates the cell of row 2 once more" in text
    assert not Rating.objects.exists()


def test_a_revealed_table_takes_no_more_ratings(client: Client, table: Table) -> None:
    things.rate_all(table.cupping)
    Rating.objects.filter(seat=table.own).delete()
    Cupping.objects.update(state="revealed", revealed_at=things.NOW)
    text = bring(
        client,
        "ratings",
        "cupping,taster,sample,pass,attribute,rating\n"
        f"Blind table,Own Tongue,{table.cups[0].code},warm,body,5\n",
    )
    assert "can only be added to a table that is open" in text


@pytest.mark.parametrize("name", ["ratings", "ratings-wide", "words"])
@pytest.mark.parametrize("state", ["open", "revealed"])
def test_what_went_out_comes_in_again_without_a_change(
    name: str, state: str, client: Client, table: Table
) -> None:
    things.rate_all(table.cupping)
    Word.objects.create(seat=table.own, cup=table.cups[0], text="plum")
    revealed = things.NOW if state == "revealed" else None
    Cupping.objects.update(state=state, revealed_at=revealed)
    before = sorted(Rating.objects.values_list("id", "value")), Word.objects.count()
    data = client.get(f"/cuppings/{name}/export/?file=xlsx").content
    text = bring(client, name, data, f"{name}.xlsx")
    assert "0 new" in text or name == "words"
    assert (sorted(Rating.objects.values_list("id", "value")), Word.objects.count()) == before


@pytest.mark.parametrize("name", ["ratings", "ratings-wide"])
def test_an_exported_table_makes_the_same_table_elsewhere(
    name: str, client: Client, table: Table
) -> None:
    things.rate_all(table.cupping)
    Cupping.objects.update(state="revealed", revealed_at=things.NOW)
    data = client.get(f"/cuppings/{name}/export/").content
    keys = ("cupping", "taster", "sample", "cup", "pass", "attribute", "rating")
    before = sorted([str(row[k]) for k in keys] for row in door("ratings").rows())
    Rating.objects.all().delete()
    Cupping.objects.all().delete()
    bring(client, name, data)
    after = sorted([str(row[k]) for k in keys] for row in door("ratings").rows())
    assert after == before
    assert len(after) == 16


def test_both_forms_hold_the_same_ratings(table: Table) -> None:
    things.rate_all(table.cupping)
    keys = ("cupping", "taster", "sample", "cup", "pass", "attribute", "rating")
    found = []
    for name in ("ratings", "ratings-wide"):
        each = door(name)
        data = write_csv(each.layout(), each.rows())
        rows = read_ratings(data, "r.csv").rows
        found.append(sorted([str(row[k]) for k in keys] for row in rows))
    assert found[0] == found[1]
    assert len(found[0]) == 16


def test_samples_come_in_by_their_batches(client: Client) -> None:
    one, two = things.batch(number="A1"), things.batch(number="A2")
    text = bring(client, "samples", "sample,batch,proportion\nMix,A1,60%\nMix,A2,40%\nPure,A2,1\n")
    assert "2 new samples" in text
    parts = {p.batch: p.share_ppm for p in Sample.objects.get(label="Mix").parts.all()}
    assert parts == {one: 600_000, two: 400_000}
    assert Sample.objects.get(label="Pure").kind == "batch"
    data = client.get("/cuppings/samples/export/").content
    assert "0 new samples" in bring(client, "samples", data)
    assert Sample.objects.count() == 2


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ("Mix,A1,60%\nMix,A2,39%\n", "sum to 99 %"),
        ("Mix,A1,60%\nMix,B9,40%\n", "there is no batch"),
        ("Mix,A1,60%\nMix,A1,40%\n", "repeats row"),
        ("Mix,A1,-5%\nMix,A2,105%\n", "proportion"),
        ("Known,A1,100%\n", "is known already and made otherwise"),
    ],
)
def test_a_sample_that_does_not_add_up_is_named(rows: str, said: str, client: Client) -> None:
    for number in ("A1", "A2"):
        things.batch(number=number)
    things.sample(label="Known")
    assert said in bring(client, "samples", f"sample,batch,proportion\n{rows}")
    assert Sample.objects.count() == 1


def test_words_come_in_for_tables_that_are_known(client: Client, table: Table) -> None:
    head = "cupping,taster,sample,words\n"
    code = table.cups[0].code
    bring(client, "words", f'{head}Blind table,Own Tongue,{code},"Plum, cocoa"\n')
    assert sorted(Word.objects.values_list("text", flat=True)) == ["cocoa", "plum"]
    assert "there is no table" in bring(client, "words", f"{head}Nowhere,Own Tongue,{code},plum\n")
    assert "has no seat" in bring(client, "words", f"{head}Blind table,Nobody,{code},plum\n")


def test_attributes_and_tasters_come_in(client: Client, taster: Person) -> None:
    things.attribute("body")
    bring(client, "attributes", "attribute,word at 0,same within\nbody,thin,0.8\nfizz,none,1\n")
    assert str(Attribute.objects.get(name="body").tolerance) == "0.8"
    assert Attribute.objects.get(name="fizz").low_word == "none"
    for bad, said in [("Body", "nearly this name"), ("taster", "as a heading already")]:
        assert said in bring(client, "attributes", f"attribute\n{bad}\n")
    bring(client, "tasters", f"taster,account\nWren,\nNoa,{taster.sign_in}\n")
    assert Taster.objects.get(name="Noa").person == taster
    assert "nobody signs in as" in bring(client, "tasters", "taster,account\nPip,ghost\n")


def test_a_viewer_reads_files_and_brings_none_in_and_a_taster_neither(
    viewer: Person, taster: Person, signed_in: As
) -> None:
    assert signed_in(viewer).get("/cuppings/ratings/export/").status_code == 200
    assert signed_in(viewer).get("/cuppings/ratings/import/").status_code == 403
    assert signed_in(taster).get("/cuppings/ratings/export/").status_code == 403
