"""Limits of a brief: written, kept by the choice, said where they stand in the way."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.test import Client

from coupage.web.blends.limits import limit_text
from coupage.web.blends.models import Blend, Brief, BriefLimit
from coupage.web.coffees.models import Lot, StockEntry
from coupage.web.cuppings.beliefs import beliefs_now, tolerances
from coupage.web.cuppings.models import Sample
from tests.web import things
from tests.web.blends.conftest import Four, Tasted, brief_form

pytestmark = pytest.mark.django_db
BODY = {"kind": "at least", "low": "5", "must": "on"}


def limit(n: int, rule: str, low: str = "", high: str = "") -> dict[str, str]:
    return {f"limit-{n}-rule": rule, f"limit-{n}-low": low, f"limit-{n}-high": high}


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"low_ppm": 600_000}, "at least 60 % washed coffees"),
        ({"high_ppm": 400_000}, "at most 40 % washed coffees"),
        ({"low_ppm": 200_000, "high_ppm": 400_000}, "20 % to 40 % washed coffees"),
        ({"high_ppm": 0}, "no washed coffees"),
        ({"low_ppm": 1_000_000}, "only washed coffees"),
        ({"low_ppm": 300_000, "high_ppm": 300_000}, "just 30 % washed coffees"),
    ],
)
def test_a_limit_is_said_in_words(values: dict[str, int], said: str) -> None:
    assert limit_text(BriefLimit(kind="process", value="washed", **values)) == said


def test_limits_are_written_changed_and_kept_by_the_choice(four: Four, client: Client) -> None:
    Lot.objects.filter(name__in=["First", "Third"]).update(process="natural")
    path = f"/briefs/{four.brief.pk}/change/"
    shown = client.get(path).context
    assert shown["limits"][0].fields["rule"].choices[1:] == [
        ("process:natural", "natural coffees"),
        ("process:washed", "washed coffees"),
        ("origin:Kenya", "coffees from Kenya"),
    ]
    body = things.attribute("body")
    sent = brief_form({body: BODY}, name="Between", revision="1")
    client.post(path, sent | limit(0, "process:natural", high="40") | limit(1, ""))
    assert [limit_text(one) for one in BriefLimit.objects.all()] == ["at most 40 % natural coffees"]
    assert "at most 40 % natural coffees" in client.get(f"/briefs/{four.brief.pk}/").text
    natural = {four.approaches[0].pk, four.approaches[2].pk}
    lines = client.get(f"/briefs/{four.brief.pk}/choose/").context["page"].lines
    assert lines
    for line in lines:
        assert sum(ppm for key, ppm in line.shares if key in natural) <= 400_000
    # The recipe in service holds 65 %: the triangle says so from the same row.
    rows = client.get(four.path).context["page"].data["limits"]["rows"]
    assert rows == [
        {
            "text": "at most 40 % natural coffees",
            "row": [True, False, True, False],
            "low": 0,
            "high": 400_000,
        }
    ]


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        (limit(0, "process:washed"), "Give a share, at least or at most."),
        (limit(0, "", low="40"), "Say which coffees keep this limit"),
        (limit(0, "process:washed", "60", "40"), "must be at least 60 %"),
        (limit(0, "process:washed", "101"), "at most 100"),
        (limit(0, "process:steamed", "40"), "steamed"),
        (
            limit(0, "process:washed", "40") | limit(1, "process:washed", "", "80"),
            "Washed coffees stand in two limits",
        ),
        ({"lasting": "one"}, "Give the weeks"),
        ({"lasting_weeks": "8"}, "Say what must last so long"),
        ({"lasting": "one", "lasting_weeks": "0"}, "at least 1"),
    ],
)
def test_a_limit_that_cannot_be_is_explained_and_nothing_is_lost(
    rows: dict[str, str], says: str, four: Four, client: Client
) -> None:
    before = Brief.objects.count()
    body = things.attribute("body")
    answer = client.post("/briefs/add/", brief_form({body: BODY}, name="New") | rows)
    assert says in answer.text.replace("&#x27;", "'")
    assert Brief.objects.count() == before
    assert 'value="New"' in answer.text


def test_limits_that_clash_are_named_in_the_words_of_the_brief(four: Four, client: Client) -> None:
    BriefLimit.objects.create(brief=four.brief, kind="process", value="washed", high_ppm=0)
    page = client.get(f"/briefs/{four.brief.pk}/choose/").context["page"]
    assert page.sentence == "No recipe keeps all limits."
    assert any("washed coffees" in clash for clash in page.clashing)
    BriefLimit.objects.update(value="honey", low_ppm=300_000, high_ppm=1_000_000)
    text = client.get(f"/briefs/{four.brief.pk}/choose/").text
    assert "The brief wants at least 30 % honey coffees, but none of the coffees" in text


def test_at_least_one_coffee_lasts_and_without_a_weekly_amount_that_is_asked_for(
    four: Four, client: Client
) -> None:
    Brief.objects.update(lasting="one", lasting_weeks=10, cost_cap=None)
    path = f"/briefs/{four.brief.pk}/choose/"
    assert "says how much is sold in a week" in client.get(path).text
    Blend.objects.update(weekly_g=40_000)
    # 400 kg in ten weeks; all but the third lot are nearly gone, which lasts at up to 61 %.
    for name in ("First", "Second", "Fourth"):
        entry = {"kind": "count", "mass_g": -287_000, "on": things.NOW.date()}
        StockEntry.objects.create(lot=Lot.objects.get(name=name), **entry)
    lines = client.get(path).context["page"].lines
    third = four.approaches[2].pk
    shares = [dict(line.shares).get(third, 0) for line in lines]
    assert all(0 < share <= 1e6 * 288 * 0.86 / 400 for share in shares)
    Brief.objects.update(lasting="every")
    assert "No recipe keeps all limits" in client.get(path).text


def test_a_brief_begins_with_what_was_tasted_within_tolerance(four: Four, client: Client) -> None:
    start = client.get("/briefs/add/", {"recipe": four.recipe.pk, "within": "1"}).context
    beliefs = beliefs_now()
    assert beliefs is not None
    shares = {str(s.approach): s.share_ppm / 1e6 for s in four.recipe.shares.all()}
    believed = beliefs.profile(shares)
    assert start["form"].initial["name"] == "Like Ferry 1"
    rows = {row.attribute.name: row.initial for row in start["rows"]}
    assert set(rows) == {"body", "acidity", "sweetness"}
    for name, row in rows.items():
        assert (row["kind"], row["must"]) == ("between", True)
        middle = (row["low"] + row["high"]) / 2
        assert float(middle) == pytest.approx(believed[name].mean, abs=0.06)
        assert float(row["high"] - row["low"]) == pytest.approx(2 * tolerances()[name], abs=0.11)
    sample = Sample.objects.filter(kind="trial").last()
    assert sample is not None
    wide = client.get("/briefs/add/", {"sample": sample.pk, "within": "2"}).context
    row = {row.attribute.name: row.initial for row in wide["rows"]}["body"]
    assert row["high"] - row["low"] > Decimal("1.8") * Decimal(str(tolerances()["body"]))


def test_what_nobody_tasted_cannot_be_a_beginning(coffees: Tasted, client: Client) -> None:
    recipe = things.recipe({coffees.low: 1_000_000})
    text = client.get("/briefs/add/", {"recipe": recipe.pk}).text
    assert "Nothing is believed of Low Ground (omni)" in text
    assert "Choose a recipe or a sample." in client.get("/briefs/add/", {"within": "1"}).text
