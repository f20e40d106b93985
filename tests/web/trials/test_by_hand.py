"""A blend changed by hand: what is lost is said before it is kept, and can be taken back."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from django.test import Client

from coupage.mixture import Group, Region, model_matrix
from coupage.units import PPM
from coupage.web.coffees.models import Approach
from coupage.web.people.models import Person
from coupage.web.trials.models import Plan, Trial
from coupage.web.trials.pages.plan import plan_page
from coupage.web.trials.pages.trial import bench_of
from tests.web.conftest import As

pytestmark = pytest.mark.django_db


def shares(plan: Plan, *percents: float, **more: Any) -> dict[str, Any]:
    values = {
        f"share-{coffee.pk}": str(percent or "")
        for coffee, percent in zip(plan.coffees.all(), percents, strict=True)
    }
    return values | {"revision": str(plan.revision)} | more


def undo(answer: Any) -> str:
    """Return where the newest toast leads back to."""
    newest = list(answer.context["messages"])[-1]
    return str(newest.extra_tags).removeprefix("undo:")


def of(plan: Plan, number: int) -> tuple[int, ...]:
    bench = bench_of(plan.pk, number)
    assert bench.own is not None
    return bench.own


def test_what_is_lost_is_the_growth_of_the_average_variance(plan: Plan, desk: Client) -> None:
    """Against Scheffe's model written out here: prior precision, information, region average."""
    bench = bench_of(plan.pk, 1)
    new = (300_000, 350_000, 350_000)
    room, names = bench.room, bench.room.region.names
    region = Region(names, upper={names[1]: 0.4}, groups=[Group({names[0]: 1}, lower=0.3)])
    inside = model_matrix(region.sample(40_000, rng=np.random.default_rng(5)), "quadratic")
    prior = np.diag([2.0**2] * 3 + [4.0**2] * 3)
    prior[:3, :3] += 3.0**2
    noise = 0.5**2 + (1.5**2 + 0.5**2 / 12 + 1.0**2) / 3

    def average(rows: list[tuple[int, ...]]) -> float:
        terms = model_matrix(np.array(rows) / PPM, "quadratic")
        after = np.linalg.inv(np.linalg.inv(prior) + terms.T @ terms / noise)
        return float(np.einsum("np,pr,nr->n", inside, after, inside).mean())

    wanted = average(list(bench.rows)) / average([*bench.others(), new])
    assert room.told([*bench.others(), new], bench.rows) == pytest.approx(wanted, rel=0.01)
    answer = desk.post(f"/trials/{plan.pk}/samples/1/", shares(plan, 30, 35, 35, look="1"))
    percent = round(100 * (1 - wanted))
    assert f"{percent} % of what the plan tells now is lost" in answer.text or percent < 1


def test_looking_writes_nothing_and_keeping_does(plan: Plan, desk: Client) -> None:
    before = of(plan, 2)
    desk.post(f"/trials/{plan.pk}/samples/2/", shares(plan, 30, 35, 35, look="1"))
    assert of(plan, 2) == before
    desk.post(f"/trials/{plan.pk}/samples/2/", shares(plan, 30, 35, 35, keep="1"))
    assert of(plan, 2) == (300_000, 350_000, 350_000)
    page = plan_page(plan.pk, can_work=True)
    assert page.changed.startswith("Changed by hand")
    assert ("by hand", "attention") in page.rows[1].marks


def test_a_change_that_makes_all_blends_alike_loses_nearly_everything(
    plan: Plan, desk: Client
) -> None:
    for number in range(1, 8):
        plan.refresh_from_db()
        desk.post(f"/trials/{plan.pk}/samples/{number}/", shares(plan, 50, 0, 50, keep="1"))
    page = plan_page(plan.pk, can_work=True)
    lost = int(page.changed.split(" %")[0].split()[-1])
    assert lost > 50
    assert page.seeing == (), "there is no difference to see"


@pytest.mark.parametrize(
    ("percents", "said"),
    [
        ((30, 30, 30), "The shares add up to 90 %: 10 % are missing."),
        ((50, 30, 30), "too much"),
        ((20, 40, 40), "It breaks a limit of the plan: washed coffees at least 30 %."),
        ((50, 50, 0), "at most 40 %"),
        ((52, 28, 20), "52 % is not a multiple of the plan"),
        ((-50, 50, 100), "must be at least 0 %"),
    ],
)
def test_a_blend_that_cannot_be_cupped_is_refused(
    percents: tuple[float, ...], said: str, plan: Plan, desk: Client
) -> None:
    before = of(plan, 1)
    answer = desk.post(f"/trials/{plan.pk}/samples/1/", shares(plan, *percents, keep="1"))
    assert answer.status_code == 200
    assert said in answer.text
    assert of(plan, 1) == before


def test_a_change_is_taken_back(plan: Plan, desk: Client) -> None:
    before = of(plan, 2)
    answer = desk.post(
        f"/trials/{plan.pk}/samples/2/", shares(plan, 30, 35, 35, keep="1"), follow=True
    )
    desk.post(undo(answer))
    assert of(plan, 2) == before
    assert plan_page(plan.pk, can_work=True).changed == ""


def test_a_step_back_that_breaks_a_limit_is_not_taken(plan: Plan, desk: Client) -> None:
    before = of(plan, 2)
    for was in ("0.1000000.0", "1000000.0", "x", "900000.0.0"):
        desk.post(f"/trials/{plan.pk}/samples/2/put-back/?was={was}&revision=1")
    assert of(plan, 2) == before


def test_a_blend_is_left_out_put_back_and_another_added(plan: Plan, desk: Client) -> None:
    gone = of(plan, 3)
    answer = desk.post(f"/trials/{plan.pk}/samples/3/leave-out/", {"revision": "1"}, follow=True)
    assert not plan.trials.filter(number=3).exists()
    desk.post(undo(answer))
    assert of(plan, 3) == gone
    plan.refresh_from_db()
    desk.post(f"/trials/{plan.pk}/samples/add/", shares(plan, 30, 35, 35, keep="1"))
    assert of(plan, 8) == (300_000, 350_000, 350_000)
    assert plan_page(plan.pk, can_work=True).changed.endswith("more than the blends as chosen.")


def test_two_samples_stay_at_least(plan: Plan, desk: Client) -> None:
    for number in range(1, 8):
        plan.refresh_from_db()
        url = f"/trials/{plan.pk}/samples/{number}/leave-out/"
        desk.post(url, {"revision": str(plan.revision)})
    assert plan.trials.count() == 2


def test_the_second_of_two_editors_is_told_and_loses_nothing(plan: Plan, desk: Client) -> None:
    url = f"/trials/{plan.pk}/samples/1/"
    # Kept as it is a blend is not changed: which blend stands first depends on the coffees' names.
    first = (50, 25, 25) if of(plan, 1) != (500_000, 250_000, 250_000) else (45, 30, 25)
    desk.post(url, shares(plan, *first, keep="1"))
    answer = desk.post(url, shares(plan, 30, 35, 35, keep="1"))
    assert "Somebody else saved this first" in answer.text
    assert "sample 1: 50 %" in answer.text
    assert 'value="35"' in answer.text
    assert of(plan, 1) == (500_000, 250_000, 250_000)
    plan.refresh_from_db()
    desk.post(url, shares(plan, 30, 35, 35, keep="1"))
    assert of(plan, 1) == (300_000, 350_000, 350_000)


def test_choosing_again_gives_the_same_blends_and_forgets_changes_by_hand(
    plan: Plan, desk: Client
) -> None:
    chosen = [of(plan, n) for n in range(1, 8)]
    desk.post(f"/trials/{plan.pk}/samples/1/", shares(plan, 50, 25, 25, keep="1"))
    plan.refresh_from_db()
    desk.post(f"/trials/{plan.pk}/choose-again/", {"revision": str(plan.revision)})
    assert [of(plan, n) for n in range(1, 8)] == chosen


def test_a_viewer_may_not_change_a_blend(
    plan: Plan, viewer: Person, signed_in: As, coffees: list[Approach]
) -> None:
    before = of(plan, 1)
    client = signed_in(viewer)
    sent = shares(plan, 30, 35, 35, keep="1")
    assert client.post(f"/trials/{plan.pk}/samples/1/", sent).status_code == 403
    assert client.post(f"/trials/{plan.pk}/samples/1/leave-out/").status_code == 403
    assert of(plan, 1) == before
    assert Trial.objects.filter(plan=plan).count() == 7
