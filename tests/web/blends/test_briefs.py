"""Briefs: what a blend must taste like, written, changed by two people, put away."""

from __future__ import annotations

import pytest
from django.test import Client

from coupage.web.blends.models import Brief, Want
from coupage.web.people.models import Change, Person
from tests.web import things
from tests.web.blends.conftest import Tasted, brief_form
from tests.web.conftest import As

pytestmark = pytest.mark.django_db

BODY = {"kind": "at least", "low": "5,5", "high": "7", "importance": "2", "must": "on"}


def test_a_roaster_writes_a_brief_with_its_wants(client: Client) -> None:
    body, acidity = things.attribute("body"), things.attribute("acidity")
    sent = brief_form({body: BODY, acidity: {"kind": "at most", "high": "4"}}, cost_cap="9,50")
    answer = client.post("/briefs/add/", sent)
    brief = Brief.objects.get()
    assert answer.headers["Location"] == f"/briefs/{brief.pk}/"
    assert (str(brief.cost_cap), brief.min_share_ppm) == ("9.5000", 50_000)
    said = {(w.attribute.name, w.kind, w.low, w.high, w.must) for w in brief.wants.all()}
    assert said == {("body", "at least", 5.5, 7, True), ("acidity", "at most", None, 4, False)}
    assert sorted(Change.objects.get().after["wants"]) == [
        "acidity at most 4",
        "body at least 5.5, best from 7 (must-have)",
    ]
    page = client.get(f"/briefs/{brief.pk}/").text
    assert "a recipe is on brief when its one must-have holds; one more want orders" in page
    assert "9.50 EUR/kg" in page


@pytest.mark.parametrize(
    ("want", "field", "says"),
    [
        ({"kind": "at least"}, "low", "Give the lower end"),
        ({"kind": "at most"}, "high", "Give the upper end"),
        ({"kind": "between", "low": "5"}, "high", "Give the upper end"),
        ({"kind": "close to", "high": "5"}, "low", "Give the lower end"),
        ({"kind": "between", "low": "6", "high": "5"}, "high", "must be more than 6"),
        ({"kind": "", "low": "5"}, "kind", "Say how this range is wanted"),
        ({"kind": "at least", "low": "11"}, "low", "at most 10"),
        ({"kind": "at least", "low": "five"}, "low", "not a number"),
        ({"kind": "at least", "low": "5", "importance": "0"}, "importance", "more than 0"),
        ({"kind": "nearly", "low": "5"}, "kind", "nearly"),
    ],
)
def test_a_want_that_cannot_be_is_explained_in_its_row(
    want: dict[str, str], field: str, says: str, client: Client
) -> None:
    body = things.attribute("body")
    answer = client.post("/briefs/add/", brief_form({body: want}))
    rows = {row.attribute.name: row for row in answer.context["rows"]}
    assert says in " ".join(rows["body"].errors[field])
    assert says in answer.text.replace("&#x27;", "'")
    assert not Brief.objects.exists()


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"name": ""}, "name"),
        ({"service": "by the bucket"}, "service"),
        ({"cost_cap": "0"}, "cost_cap"),
        ({"cost_cap": "1e999999999"}, "cost_cap"),
        ({"max_components": "7"}, "max_components"),
        ({"max_components": "2,5"}, "max_components"),
        ({"min_share_ppm": "60"}, "min_share_ppm"),
    ],
)
def test_bad_limits_are_said_beside_the_field(
    wrong: dict[str, str], field: str, client: Client
) -> None:
    answer = client.post("/briefs/add/", brief_form({things.attribute("body"): BODY}, **wrong))
    assert field in answer.context["form"].errors
    assert not Brief.objects.exists()


def test_a_brief_that_asks_for_nothing_is_not_written(client: Client) -> None:
    things.attribute("body")
    answer = client.post("/briefs/add/", brief_form())
    assert "A brief needs at least one want" in answer.text
    assert not Brief.objects.exists()


def test_a_name_is_given_once(client: Client) -> None:
    things.brief(name="Carries in milk")
    answer = client.post("/briefs/add/", brief_form({things.attribute("body"): BODY}))
    assert "Another brief has this name." in answer.text
    assert Brief.objects.count() == 1


def test_of_two_people_who_change_a_brief_the_second_is_told_and_nothing_is_lost(
    client: Client,
) -> None:
    body = things.attribute("body")
    brief = things.brief(name="Ours")
    address = f"/briefs/{brief.pk}/change/"
    first = brief_form({body: BODY}, name="Ours", revision="1", note="mine")
    second = brief_form({body: BODY | {"low": "4"}}, name="Ours", revision="1", note="yours")
    assert client.post(address, first).status_code == 302
    told = client.post(address, second)
    assert "Somebody else saved this first" in told.text
    found = {label: (yours, theirs) for label, yours, theirs in told.context["differing"]}
    assert found == {
        "Note": ("yours", "mine"),
        "Body": (
            "body at least 4, best from 7, importance 2, must-have",
            "body at least 5.5, best from 7, importance 2, must-have",
        ),
    }
    brief.refresh_from_db()
    assert (brief.note, brief.wants.get().low) == ("mine", 5.5)
    again = second | {"revision": str(told.context["revision"])}
    assert client.post(address, again).status_code == 302
    assert Want.objects.get().low == 4


def test_a_change_keeps_how_the_wants_stood_before(client: Client) -> None:
    body, brief = things.attribute("body"), things.brief(name="Ours")
    sent = brief_form({body: BODY}, name="Ours", revision="1")
    client.post(f"/briefs/{brief.pk}/change/", sent)
    change = Change.objects.get(verb="changed")
    assert change.before["wants"] == ["body at least 5, best from 7"]
    assert change.after["wants"] == ["body at least 5.5, best from 7 (must-have)"]


def test_a_brief_is_put_away_and_comes_back_by_undo(client: Client) -> None:
    brief = things.brief()
    answer = client.post(f"/briefs/{brief.pk}/put-away/", follow=True)
    assert f'action="/briefs/{brief.pk}/put-away/?back"' in answer.text
    assert brief.name not in client.get("/briefs/").text
    assert brief.name in client.get("/briefs/?kept=away").text
    twice = client.post(f"/briefs/{brief.pk}/put-away/", follow=True)
    assert f"{brief.name} is put away already." in twice.text
    client.post(f"/briefs/{brief.pk}/put-away/?back")
    assert brief.name in client.get("/briefs/").text
    verbs = Change.objects.filter(kind="blends.brief").values_list("verb", flat=True)
    assert sorted(verbs) == ["put away", "took out again"]


def test_a_brief_shows_what_the_blend_in_service_tastes_like(
    tasted: Tasted, client: Client
) -> None:
    brief = things.brief(
        [{"attribute": tasted.body, "kind": "at least", "low": 5, "high": 7, "must": True}]
    )
    recipe = things.recipe(
        {tasted.low: 800_000, tasted.high: 200_000},
        state="in service",
        in_service_from=things.NOW.date(),
        approved_by=things.person(),
        approved_at=things.NOW,
    )
    recipe.blend.brief = brief
    recipe.blend.save()
    page = client.get(f"/briefs/{brief.pk}/").context["page"]
    # 0.8 of 7.5 and 0.2 of 2.5 make 6.5: well above 5, so nearly sure.
    assert page.blends[0].recipe == "version 1"
    assert int(page.blends[0].chance.removesuffix("\xa0%").removeprefix("over\xa0")) > 90
    assert page.picture.series == (recipe.blend.name,)


def test_a_viewer_reads_briefs_and_cannot_change_them(viewer: Person, signed_in: As) -> None:
    brief, client = things.brief(), signed_in(viewer)
    page = client.get(f"/briefs/{brief.pk}/")
    assert page.status_code == 200
    assert "Put away" not in page.text
    for address in ("/briefs/add/", f"/briefs/{brief.pk}/change/", f"/briefs/{brief.pk}/put-away/"):
        assert client.post(address, brief_form()).status_code == 403
    brief.refresh_from_db()
    assert (brief.archived, brief.revision) == (False, 1)


def test_a_stranger_sees_nothing(roastery: object) -> None:
    assert Client().get(f"/briefs/{things.brief().pk}/").status_code == 302


def test_an_empty_list_says_what_a_brief_is_and_leads_on(
    client: Client, viewer: Person, signed_in: As
) -> None:
    assert "Write the first brief" in client.get("/briefs/").text
    assert "Write the first brief" not in signed_in(viewer).get("/briefs/").text
