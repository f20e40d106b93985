"""Blends: named products, what they are made of now, and names that try to be code."""

from __future__ import annotations

from html.parser import HTMLParser

import pytest
from django.test import Client

from coupage.web.blends.models import Blend, Recipe
from coupage.web.people.models import Change, Person
from tests.web import things
from tests.web.blends.conftest import Tasted, recipe_form
from tests.web.conftest import As

pytestmark = pytest.mark.django_db
SERVED = {"state": "in service", "in_service_from": things.NOW.date(), "approved_at": things.NOW}


def test_a_roaster_adds_a_blend_and_is_led_to_its_first_recipe(client: Client) -> None:
    brief = things.brief()
    answer = client.post("/blends/add/", {"name": "Ferry", "brief": str(brief.pk), "note": ""})
    blend = Blend.objects.get()
    assert answer.headers["Location"] == f"/blends/{blend.pk}/recipes/add/"
    assert blend.brief == brief
    assert "Ferry has no recipe yet." in client.get(f"/blends/{blend.pk}/").text


@pytest.mark.parametrize(
    ("wrong", "field"),
    [({"name": ""}, "name"), ({"name": "x" * 81}, "name"), ({"brief": "999999"}, "brief")],
)
def test_bad_input_is_said_beside_the_field(
    wrong: dict[str, str], field: str, client: Client
) -> None:
    answer = client.post("/blends/add/", {"name": "Ferry", "brief": "", "note": ""} | wrong)
    assert field in answer.context["form"].errors
    assert not Blend.objects.exists()


def test_a_change_is_kept_with_how_it_stood_before(client: Client) -> None:
    blend = Blend.objects.create(name="Ferry", note="for both counters")
    client.post(
        f"/blends/{blend.pk}/change/",
        {"name": "Ferry", "brief": "", "note": "milk", "revision": "1"},
    )
    change = Change.objects.get(verb="changed")
    assert (change.before, change.after) == ({"note": "for both counters"}, {"note": "milk"})


def test_of_two_people_who_change_a_blend_the_second_is_told_and_keeps_the_typing(
    client: Client,
) -> None:
    blend = Blend.objects.create(name="Ferry")
    first = {"name": "Ferry", "brief": "", "note": "for milk", "weekly_g": "80", "revision": "1"}
    client.post(f"/blends/{blend.pk}/change/", first)
    second = {"name": "Ferry", "brief": "", "note": "black", "weekly_g": "", "revision": "1"}
    answer = client.post(f"/blends/{blend.pk}/change/", second)
    assert "Somebody else saved this first" in answer.text
    assert ("Note", "black", "for milk") in answer.context["differing"]
    assert ("Sold in a week", "", "80") in answer.context["differing"]
    blend.refresh_from_db()
    assert (blend.note, blend.weekly_g, blend.revision) == ("for milk", 80_000, 2)
    client.post(f"/blends/{blend.pk}/change/", second | {"revision": "2"})
    blend.refresh_from_db()
    assert (blend.note, blend.weekly_g) == ("black", None)


def test_the_list_and_the_page_say_what_is_in_service(tasted: Tasted, client: Client) -> None:
    brief = things.brief(
        [{"attribute": tasted.body, "kind": "at least", "low": 5, "high": 7, "must": True}]
    )
    recipe = things.recipe(
        {tasted.low: 650_000, tasted.high: 350_000}, approved_by=things.person(), **SERVED
    )
    Blend.objects.update(brief=brief)
    row = client.get("/blends/").context["page"].blends.rows[0]
    assert row.composition == "65 % Low Ground (omni) and 35 % High Field (omni)"
    # Landed green over the yield (SCAA 2009): 0.65 of 4.00 and 0.35 of 9.00 over 85 %, where the
    # loss is estimated from one batch each and so a little towards what is usual.
    assert float(row.cost) == pytest.approx((0.65 * 4 + 0.35 * 9) / 0.85, rel=0.005)
    assert row.chance.endswith("\xa0%")
    page = client.get(f"/blends/{recipe.blend_id}/").context["page"]
    assert page.sentence == (
        f"{recipe.blend.name} is made of 65 % Low Ground (omni) and 35 % High Field (omni)."
    )


def test_each_recipe_says_what_it_changed(coffees: Tasted, client: Client) -> None:
    third = things.approach_version(lot=things.lot(name="Third")).approach
    first = things.recipe({coffees.low: 600_000, coffees.high: 400_000})
    things.recipe({coffees.low: 700_000, third: 300_000}, blend=first.blend)
    rows = client.get(f"/blends/{first.blend_id}/").context["page"].recipes
    assert [row.diff for row in rows] == [
        "10 % more Low Ground (omni); 30 % Third (omni) comes in; High Field (omni) goes out",
        "the first",
    ]


def test_a_blend_is_put_away_and_comes_back_by_undo(client: Client) -> None:
    blend = Blend.objects.create(name="Ferry")
    answer = client.post(f"/blends/{blend.pk}/put-away/", follow=True)
    assert f'action="/blends/{blend.pk}/put-away/?back"' in answer.text
    assert "Ferry" not in client.get("/blends/").text
    client.post(f"/blends/{blend.pk}/put-away/?back")
    assert "Ferry" in client.get("/blends/").text


class Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.seen: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append(tag)


def tags(html: str) -> list[str]:
    parser = Tags()
    parser.feed(html)
    return parser.seen


EVIL = "<b>\"&'</b><script>"


def test_names_that_are_code_are_shown_as_they_were_typed(client: Client) -> None:
    """On every page that says them, also inside pictures, questions and toasts."""
    approach = things.approach_version(lot=things.lot(name=EVIL), name=EVIL).approach
    batch = things.batch(approach_version=approach.versions.get(), number="<i>1")
    table = things.cupping(
        samples=[things.sample({batch: 1_000_000}, label=EVIL)],
        state="revealed",
        revealed_at=things.NOW,
    )
    things.rate_all(table)
    brief = things.brief(
        [{"attribute": things.attribute("body"), "kind": "at least", "low": 1, "must": True}],
        name=EVIL,
        note=EVIL,
    )
    blend = Blend.objects.create(name=EVIL, brief=brief, note=EVIL)
    recipe = things.recipe({approach: 1_000_000}, blend=blend)
    Recipe.objects.update(reason=EVIL)
    for address in (
        "/",
        "/coffees/",
        f"/coffees/{approach.lot_id}/",
        f"/coffees/{approach.lot_id}/change/",
        "/batches/",
        f"/batches/{batch.pk}/",
        "/batches/add/",
        "/briefs/",
        f"/briefs/{brief.pk}/",
        f"/briefs/{brief.pk}/choose/",
        "/blends/",
        f"/blends/{blend.pk}/",
        f"/blends/{blend.pk}/recipes/add/",
        f"/blends/recipes/{recipe.pk}/",
        f"/blends/recipes/{recipe.pk}/weighing/",
        f"/blends/recipes/{recipe.pk}/weighing/?total=10&loads=1&resolution=10",
        f"/blends/recipes/{recipe.pk}/sample/",
    ):
        page = client.get(address)
        assert page.status_code == 200, address
        assert not {"b", "i"} & set(tags(page.text)), address
        scripts = tags(page.text).count("script")
        assert page.text.count("<script") == scripts == page.text.count("<script src="), address
    toast = client.post(f"/blends/{blend.pk}/put-away/", follow=True).text
    assert not {"b", "i"} & set(tags(toast))
    assert "&lt;b&gt;&quot;&amp;&#x27;&lt;/b&gt;&lt;script&gt; is put away." in toast


def test_very_long_and_foreign_names_fit_and_are_found(client: Client) -> None:
    long = "Ślęża-Ærø " + "長" * 50
    lot = things.lot(name=long)
    things.recipe({things.approach_version(lot=lot).approach: 1_000_000})
    assert long in client.get("/blends/1/").text or long in client.get("/coffees/").text
    assert len(client.get("/coffees/?q=長長").context["page"].lots.rows) == 1


def test_a_viewer_reads_and_cannot_change(viewer: Person, signed_in: As, coffees: Tasted) -> None:
    blend, client = Blend.objects.create(name="Ferry"), signed_in(viewer)
    page = client.get(f"/blends/{blend.pk}/")
    assert page.status_code == 200
    assert "Put away" not in page.text
    assert "Add the first blend" not in client.get("/blends/?q=nothing").text
    for address in ("add", f"{blend.pk}/change", f"{blend.pk}/put-away", f"{blend.pk}/recipes/add"):
        sent = recipe_form([(coffees.low, "100")], name="Other")
        assert client.post(f"/blends/{address}/", sent).status_code == 403
    blend.refresh_from_db()
    assert (blend.name, blend.archived, blend.recipes.count()) == ("Ferry", False, 0)


def test_a_stranger_sees_nothing(roastery: object) -> None:
    assert Client().get(f"/blends/{Blend.objects.create(name='Ferry').pk}/").status_code == 302
