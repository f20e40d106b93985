"""Briefs and recipes go out as tables, come in again, and say what a file gets wrong."""

from __future__ import annotations

import pytest
from django.test import Client

from coupage.sheets import read_table
from coupage.web.blends.models import Blend, Brief, Recipe, Want
from coupage.web.people.models import Person
from coupage.web.tables import door
from tests.web import things
from tests.web.blends.conftest import Tasted
from tests.web.conftest import As
from tests.web.test_exchange_round_trip import bring

pytestmark = pytest.mark.django_db

BRIEFS = (
    "brief;served;attribute;kind;low;high;importance;must;cost cap;most coffees;least share\n"
    "Milk;milk;body;at least;5,5;7;2;yes;9,50;3;10 %\n"
    "Milk;milk;acidity;at most;;4;;no;9,50;3;10 %\n"
)


def test_briefs_come_in_as_spreadsheets_write_them(client: Client) -> None:
    things.attribute("body")
    things.attribute("acidity")
    bring(client, "/briefs/import/", BRIEFS.encode("cp1252"))
    brief = Brief.objects.get()
    assert (str(brief.cost_cap), brief.max_components, brief.min_share_ppm) == (
        "9.5000",
        3,
        100_000,
    )
    kept = {(w.attribute.name, w.kind, w.low, w.high, w.must) for w in Want.objects.all()}
    assert kept == {("body", "at least", 5.5, 7, True), ("acidity", "at most", None, 4, False)}


def test_a_known_brief_gets_the_wants_of_the_file(client: Client) -> None:
    things.attribute("acidity")
    things.brief(name="Milk")
    text = bring(client, "/briefs/import/", BRIEFS.encode())
    assert "1 known brief changes" in text
    assert Brief.objects.get().revision == 2
    assert Want.objects.count() == 2


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("at most", "nearly", "nearly"),
        (";body;", ";smoke;", "'smoke' is not one of"),
        ("5,5;7", "7;5,5", "must be more than 7"),
        ("5,5;7", ";7", "needs a lower end"),
        ("at most;;4", "at most;;", "needs an upper end"),
        ("acidity;at most;;4;;no;9,50", "acidity;at most;;4;;no;8", "differs from row 2"),
        ("5,5;7", "5,5;17", "17 is above 10"),
        ("10 %\nMilk", "1e999999999\nMilk", "least share"),
    ],
)
def test_a_bad_row_of_a_brief_is_named_and_nothing_is_written(
    old: str, new: str, says: str, client: Client
) -> None:
    things.attribute("body")
    things.attribute("acidity")
    assert old in BRIEFS
    text = bring(client, "/briefs/import/", BRIEFS.replace(old, new).encode())
    assert says in text.replace("&#x27;", "'")
    assert not Brief.objects.exists()


def recipes_file(coffees: Tasted, *shares: str) -> bytes:
    rows = [
        f"Ferry,1,{approach.lot.name},{approach.name},{share},to begin"
        for approach, share in zip((coffees.low, coffees.high), shares, strict=True)
    ]
    return "\n".join(["blend,version,lot,approach,share,reason", *rows]).encode()


@pytest.mark.parametrize("shares", [("65%", "35%"), ("0.65", "0.35"), ("65 %", "35 %")])
def test_recipes_come_in_as_trials(
    shares: tuple[str, str], coffees: Tasted, client: Client
) -> None:
    bring(client, "/recipes/import/", recipes_file(coffees, *shares))
    recipe = Recipe.objects.get()
    assert (recipe.state, recipe.version, recipe.blend.name) == ("trial", 1, "Ferry")
    assert [s.share_ppm for s in recipe.shares.all()] == [650_000, 350_000]


def test_thirds_written_out_are_a_whole(coffees: Tasted, client: Client) -> None:
    bring(client, "/recipes/import/", recipes_file(coffees, "0.33333333", "0.66666666"))
    assert sum(s.share_ppm for s in Recipe.objects.get().shares.all()) == 1_000_000


@pytest.mark.parametrize(
    ("shares", "says"),
    [
        (("65 %", "34 %"), "add up to 99 %; they must add up to 100 %"),
        (("110 %", "-10 %"), "share"),
        (("100 %", "0 %"), "must be more than 0 %"),
    ],
)
def test_a_recipe_that_is_no_whole_is_refused(
    shares: tuple[str, str], says: str, coffees: Tasted, client: Client
) -> None:
    assert says in bring(client, "/recipes/import/", recipes_file(coffees, *shares))
    assert not Blend.objects.exists()


def test_unknown_coffees_and_wrong_versions_are_named(coffees: Tasted, client: Client) -> None:
    data = recipes_file(coffees, "65 %", "35 %")
    assert "there is no lot" in bring(client, "/recipes/import/", data.replace(b"Low", b"Bow"))
    assert "the next version of Ferry is 1" in bring(
        client, "/recipes/import/", data.replace(b"Ferry,1", b"Ferry,4")
    )
    bring(client, "/recipes/import/", data)
    assert "has a version 1 already" in bring(client, "/recipes/import/", data)
    assert Recipe.objects.count() == 1


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_what_goes_out_comes_in_again_the_same(kind: str, coffees: Tasted, client: Client) -> None:
    things.brief(name="Milk")
    things.recipe({coffees.low: 333_333, coffees.high: 666_667})
    sent = {
        name: client.get(f"/{name}/export/?file={kind}").content for name in ("briefs", "recipes")
    }
    before = {name: list(door(name).rows()) for name in sent}
    Recipe.objects.update(sealed=False)
    for model in (Recipe, Blend, Brief):
        model.objects.all().delete()
    for name, data in sent.items():
        bring(client, f"/{name}/import/", data, f"{name}.{kind}")
    assert {name: list(door(name).rows()) for name in sent} == before


def test_names_that_are_formulas_go_out_as_text_and_come_back(
    coffees: Tasted, client: Client
) -> None:
    recipe = things.recipe({coffees.low: 1_000_000})
    Blend.objects.update(name="=1+1")
    Recipe.objects.update(reason="@SUM(A1)")
    things.brief(name="+cmd|' /C calc'!A0")
    for name, field, text in (
        ("recipes", "blend", "=1+1"),
        ("recipes", "reason", "@SUM(A1)"),
        ("briefs", "brief", "+cmd|' /C calc'!A0"),
    ):
        data = client.get(f"/{name}/export/").content
        cells = [
            cell.strip('"')
            for line in data.decode("utf-8-sig").splitlines()[1:]
            for cell in line.split(",")
        ]
        assert not any(cell[:1] in {"=", "@", "+"} for cell in cells)
        assert read_table(data, f"{name}.csv", door(name).layout()).rows[0][field] == text
    assert recipe.blend_id


def test_a_viewer_takes_tables_out_and_brings_none_in(viewer: Person, signed_in: As) -> None:
    client = signed_in(viewer)
    things.brief()
    for name in ("briefs", "recipes"):
        assert client.get(f"/{name}/export/").status_code == 200
        assert client.get(f"/{name}/import/").status_code == 403
        assert client.post(f"/{name}/import/").status_code == 403
        assert Client().get(f"/{name}/export/").status_code == 302
