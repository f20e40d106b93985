"""Planning a trial on one screen: the blends that come back, and what is refused."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext

from coupage.units import PPM
from coupage.web.coffees.models import Approach
from coupage.web.people.models import Change, Person
from coupage.web.trials import design
from coupage.web.trials.models import Plan, PlanCoffee, Trial, TrialShare
from coupage.web.trials.pages.plan import asked_of, room_of, whole_plan
from tests.web import things
from tests.web.conftest import As
from tests.web.trials.conftest import typed

pytestmark = pytest.mark.django_db


def blends(plan: Plan) -> list[dict[int, int]]:
    """Shares by approach, sample by sample."""
    return [
        {s.coffee.approach_id: s.share_ppm for s in trial.shares.select_related("coffee")}
        for trial in plan.trials.all()
    ]


def test_a_roaster_plans_a_trial_and_every_blend_can_be_weighed_within_the_limits(
    plan: Plan, coffees: list[Approach]
) -> None:
    washed, natural, _ = (coffee.pk for coffee in coffees)
    found = blends(plan)
    assert len(found) == 7
    for blend in found:
        assert sum(blend.values()) == PPM
        assert all(share % plan.step_ppm == 0 for share in blend.values())
        assert blend.get(washed, 0) >= 300_000
        assert blend.get(natural, 0) <= 400_000
    assert len({tuple(sorted(blend.items())) for blend in found}) == 6, "one hidden repeat"
    assert plan.chosen == [[blend.get(coffee.pk, 0) for coffee in coffees] for blend in found]
    assert Change.objects.filter(kind="trials.plan", key=plan.pk, verb="planned").exists()


def test_the_blends_reach_into_the_corners_of_the_region(
    plan: Plan, coffees: list[Approach]
) -> None:
    """Straight washed is a corner; natural is cupped at its limit: what an optimal design does."""
    washed, natural, _ = (coffee.pk for coffee in coffees)
    assert {washed: PPM} in blends(plan)
    assert any(blend.get(natural) == 400_000 for blend in blends(plan))


@pytest.mark.parametrize(("samples", "repeats"), [("6", "0"), ("8", "3")])
@pytest.mark.parametrize("purpose", ["I", "D"])
def test_there_are_as_many_hidden_repeats_as_asked_for(
    purpose: str, samples: str, repeats: str, desk: Client, coffees: list[Approach]
) -> None:
    desk.post("/trials/add/", typed(coffees, samples=samples, repeats=repeats, purpose=purpose))
    found = [tuple(sorted(blend.items())) for blend in blends(Plan.objects.get())]
    assert len(found) - len(set(found)) == int(repeats)


def test_the_page_answers_first_draws_the_triangle_and_lists_the_same_samples(
    plan: Plan, desk: Client, table: Any
) -> None:
    page = desk.get(f"/trials/{plan.pk}/").text
    assert "Cup these 7 samples: six different blends and one hidden repeat." in page
    assert "With 7 samples and 3 tasters, a difference of one point in" in page
    for number in range(1, 8):
        assert f'id="trial-{number}"' in page
    assert page.count('class="limit"') == 2 * 2, "each limit as a line and in the legend"
    assert "washed coffees at least 30 %" in page


def test_four_coffees_come_as_a_matrix_without_a_triangle(
    desk: Client, coffees: list[Approach], table: Any
) -> None:
    version = things.approach_version()
    desk.post("/trials/add/", typed([*coffees, version.approach], samples="8"))
    page = desk.get(f"/trials/{Plan.objects.get().pk}/")
    assert page.context["page"].picture is None
    assert len(page.context["page"].columns) == 4


def test_at_most_one_approach_of_each_lot_is_in_a_blend(
    desk: Client, coffees: list[Approach]
) -> None:
    other = things.approach_version(lot=coffees[0].lot, name="long").approach
    desk.post("/trials/add/", typed([*coffees[:2], other]))
    for blend in blends(Plan.objects.get()):
        assert not {coffees[0].pk, other.pk} <= blend.keys()


def test_the_full_search_is_at_least_as_good_and_says_nothing_of_haste(
    plan: Plan, desk: Client, coffees: list[Approach], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(design, "LONGEST_S", 60.0)
    full = room_of(asked_of(whole_plan(plan.pk)), None)
    found = full.choose()
    monkeypatch.setattr(design, "LONGEST_S", 0.0)
    short = full.choose()
    assert (found.hurried, short.hurried) == (False, True)
    assert full.told(found.trials, short.trials) >= 1 - 1e-9
    answer = desk.post("/trials/add/", typed(coffees, name="In haste"), follow=True)
    assert "the search was kept short" in answer.text


def test_a_reference_stands_among_the_samples(desk: Client, coffees: list[Approach]) -> None:
    recipe = things.recipe({coffees[0]: 650_000, coffees[1]: 350_000})
    desk.post("/trials/add/", typed(coffees, reference=str(recipe.pk)))
    plan = Plan.objects.get()
    assert {coffees[0].pk: 650_000, coffees[1].pk: 350_000} in blends(plan)
    assert f"Reference: {recipe}" not in desk.get(f"/trials/{plan.pk}/").text
    assert f"with {recipe} as the reference" in desk.get(f"/trials/{plan.pk}/").text


def test_a_decision_is_planned_for_a_brief(desk: Client, coffees: list[Approach]) -> None:
    brief = things.brief()
    answer = desk.post("/trials/add/", typed(coffees, purpose="decision", brief=str(brief.pk)))
    assert answer.status_code == 302
    assert "best differ in what they are worth" in desk.get(answer.headers["Location"]).text
    started = desk.get(f"/trials/add/?brief={brief.pk}").context["screen"].form
    assert started["brief"].value() == brief.pk


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"purpose": "decision"}, "Name the brief that the recipe shall serve"),
        ({"samples": "25"}, "must be at most 24"),
        ({"samples": "six"}, "is not a number"),
        ({"samples": "5", "repeats": "5"}, "must be fewer than the 5 samples"),
        ({"tasters": "0"}, "must be at least 1"),
        ({"name": ""}, "required"),
        ({"high": {0: "140"}}, "must be at most 100 %"),
        ({"low": {0: "60"}, "high": {0: "50"}}, "must not be less than 60 %"),
        ({"group-0-rule": "process:washed"}, "Give a lower or an upper limit"),
        ({"group-0-rule": "", "group-0-low": "30"}, "Say which coffees this limit is for"),
        ({"group-0-rule": "process:boiled", "group-0-low": "30"}, "not one of the available"),
        ({"step_ppm": "70000"}, "not one of the available"),
    ],
)
def test_bad_input_is_said_and_nothing_is_written(
    wrong: dict[str, Any], said: str, desk: Client, coffees: list[Approach]
) -> None:
    answer = desk.post("/trials/add/", typed(coffees, **wrong))
    assert answer.status_code == 200
    assert said in answer.text
    assert not Plan.objects.exists()
    assert not Change.objects.filter(kind="trials.plan").exists()


def test_one_coffee_is_not_enough(desk: Client, coffees: list[Approach]) -> None:
    answer = desk.post("/trials/add/", typed(coffees[:1]))
    assert "Tick 2 to 10 coffees" in answer.text
    assert not Plan.objects.exists()


def test_limits_that_clash_are_named_and_only_those(desk: Client, coffees: list[Approach]) -> None:
    group = {"group-0-rule": "process:natural", "group-0-low": "30"}
    answer = desk.post("/trials/add/", typed(coffees, low={0: "80"}, high={2: "90"}) | group)
    assert list(answer.context["clashing"]) == [
        f"at least 80 % {coffees[0].lot.name} (omni)",
        "natural coffees at least 30 %",
    ]
    assert 'value="80"' in answer.text, "what was typed stays"
    assert not Plan.objects.exists()


def test_a_reference_outside_the_limits_is_refused_in_words(
    desk: Client, coffees: list[Approach]
) -> None:
    recipe = things.recipe({coffees[0]: 500_000, coffees[1]: 500_000})
    answer = desk.post("/trials/add/", typed(coffees, high={1: "40"}, reference=str(recipe.pk)))
    assert "Reference: it breaks the limits" in answer.text
    stranger = things.recipe({things.approach_version().approach: PPM})
    answer = desk.post("/trials/add/", typed(coffees, reference=str(stranger.pk)))
    assert "which is not among the chosen coffees" in answer.text


def test_asking_differently_chooses_anew(plan: Plan, desk: Client, coffees: list[Approach]) -> None:
    sent = typed(coffees, samples="5", repeats="0", high={1: "20"}) | {"revision": plan.revision}
    assert desk.post(f"/trials/{plan.pk}/change/", sent).status_code == 302
    plan.refresh_from_db()
    assert len(blends(plan)) == 5
    assert all(blend.get(coffees[1].pk, 0) <= 200_000 for blend in blends(plan))
    assert not plan.groups.exists()
    assert plan.revision == 2


def test_the_second_of_two_editors_is_told_and_loses_nothing(
    plan: Plan, desk: Client, coffees: list[Approach]
) -> None:
    first = typed(coffees, samples="5", repeats="0") | {"revision": "1"}
    second = typed(coffees, samples="9", note="from the second") | {"revision": "1"}
    desk.post(f"/trials/{plan.pk}/change/", first)
    answer = desk.post(f"/trials/{plan.pk}/change/", second)
    assert "Somebody else saved this first" in answer.text
    assert "from the second" in answer.text
    assert "Cup these 5 samples" in answer.text
    assert plan.trials.count() == 5
    again = desk.post(f"/trials/{plan.pk}/change/", second | {"revision": "2"})
    assert again.status_code == 302
    assert plan.trials.count() == 9


def test_a_viewer_reads_and_may_not_plan(
    plan: Plan, viewer: Person, taster: Person, signed_in: As, coffees: list[Approach]
) -> None:
    client = signed_in(viewer)
    page = client.get(f"/trials/{plan.pk}/")
    assert page.status_code == 200
    assert "Send to a table" not in page.text
    assert client.get("/trials/").status_code == 200
    assert client.get("/trials/add/").status_code == 403
    assert client.post(f"/trials/{plan.pk}/choose-again/").status_code == 403
    assert signed_in(taster).get("/trials/").status_code == 403
    assert Client().get("/trials/").headers["Location"].startswith("/people/sign-in/")


def test_the_list_says_what_to_do_while_it_is_empty(desk: Client) -> None:
    assert "Plan the first trial" in desk.get("/trials/").text


def test_the_list_searches_and_queries_do_not_grow_with_rows(
    plan: Plan, desk: Client, roaster: Person
) -> None:
    def add(n: int) -> None:
        for i in range(n):
            made = Plan.objects.create(
                name=f"Row {Plan.objects.count()} {i}", made_at=things.NOW, made_by=roaster
            )
            Trial.objects.create(plan=made, number=1)

    add(9)
    with CaptureQueriesContext(connection) as few:
        desk.get("/trials/")
    add(10)
    with CaptureQueriesContext(connection) as many:
        assert "Spring trial" in desk.get("/trials/?sort=-made").text
    assert len(many) <= len(few)
    assert "Spring trial" not in desk.get("/trials/?q=Row").text


def test_a_plans_page_costs_no_query_for_each_sample(
    plan: Plan, desk: Client, coffees: list[Approach]
) -> None:
    with CaptureQueriesContext(connection) as few:
        desk.get(f"/trials/{plan.pk}/")
    desk.post(f"/trials/{plan.pk}/change/", typed(coffees, samples="14") | {"revision": "1"})
    desk.get(f"/trials/{plan.pk}/")
    with CaptureQueriesContext(connection) as many:
        desk.get(f"/trials/{plan.pk}/")
    assert len(many) <= len(few) + 1, "one more line of history names its person"


def test_a_plan_is_put_away_and_taken_out_again(plan: Plan, desk: Client) -> None:
    desk.post(f"/trials/{plan.pk}/put-away/")
    plan.refresh_from_db()
    assert plan.void
    assert not desk.get("/trials/").context["page"].plans.found
    desk.post(f"/trials/{plan.pk}/put-away/?back")
    plan.refresh_from_db()
    assert not plan.void


@pytest.mark.parametrize("field", ["samples", "tasters", "cups", "step_ppm"])
def test_the_database_refuses_numbers_out_of_range(field: str, plan: Plan) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        Plan.objects.filter(pk=plan.pk).update(**{field: 77})


def test_the_database_keeps_shares_at_100_percent(plan: Plan) -> None:
    share = TrialShare.objects.filter(trial__plan=plan, share_ppm__lt=PPM).first()
    assert share is not None
    with pytest.raises(IntegrityError), transaction.atomic():
        TrialShare.objects.filter(pk=share.pk).update(share_ppm=share.share_ppm + 50_000)
    Trial.objects.filter(pk=share.trial_id).update(sealed=False)
    share.delete()
    with pytest.raises(IntegrityError), transaction.atomic():
        Trial.objects.filter(pk=share.trial_id).update(sealed=True)
    with pytest.raises(IntegrityError), transaction.atomic():
        PlanCoffee.objects.filter(plan=plan).update(low_ppm=900_000, high_ppm=100_000)


def test_the_blends_go_out_as_a_table_that_adds_up(plan: Plan, desk: Client) -> None:
    sent = desk.get(f"/trials/{plan.pk}/blends/").content.decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(sent)))
    assert {row["plan"] for row in rows} == {plan.name}
    of_sample: dict[str, float] = {}
    for row in rows:
        of_sample[row["sample"]] = of_sample.get(row["sample"], 0) + float(row["share"].strip("%"))
    assert len(of_sample) == 7
    assert set(of_sample.values()) == {100}
    every = desk.get("/trials/blends/?file=xlsx")
    assert every.headers["Content-Disposition"].endswith('.xlsx"')


def test_plans_put_away_stay_out_of_the_table_of_all(plan: Plan, desk: Client) -> None:
    assert plan.name in desk.get("/trials/blends/").text
    desk.post(f"/trials/{plan.pk}/put-away/")
    assert plan.name not in desk.get("/trials/blends/").text
