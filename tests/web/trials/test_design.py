"""A plan handed to the computing rooms: whatever the limits, what comes back can be cupped."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coupage.errors import InfeasibleError, InputError
from coupage.mixture import Region, assess, model_matrix
from coupage.mixture.distinct import Aim, distinct, with_repeats
from coupage.units import PPM
from coupage.web.coffees import groups
from coupage.web.coffees.models import Approach, Lot
from coupage.web.trials import design
from coupage.web.trials.design import Asked, Room
from coupage.web.trials.models import Plan, PlanCoffee, PlanGroup
from coupage.web.trials.triangle import limit_lines

PROCESSES = ("washed", "natural", "honey", "washed", "natural")


def coffee(i: int, low: int = 0, high: int = 100, *, lot: int | None = None) -> PlanCoffee:
    key = i if lot is None else lot
    of = Lot(pk=key, name=f"Lot {key}", origin="Kenya", process=PROCESSES[i])
    approach = Approach(pk=i, lot=of, name=f"way {i}")
    own = Plan(name="wish")
    return PlanCoffee(plan=own, approach=approach, low_ppm=low * 10_000, high_ppm=high * 10_000)


@st.composite
def asked(draw: st.DrawFn) -> Asked:
    q = draw(st.integers(2, 5))
    per_cent = st.integers(0, 20).map(lambda n: 5 * n)
    coffees = []
    for i in range(q):
        low, high = sorted((draw(st.sampled_from((0, 0, 5, 10, 20))), draw(per_cent)))
        coffees.append(coffee(i, low, high, lot=0 if i == 3 and draw(st.booleans()) else None))
    limits = []
    if draw(st.booleans()):
        low, high = sorted((draw(per_cent), draw(per_cent)))
        limits.append(
            PlanGroup(
                plan=Plan(name="wish"),
                rule="process:washed",
                low_ppm=low * 10_000,
                high_ppm=high * 10_000,
            )
        )
    samples = draw(st.integers(2, 9))
    plan = Plan(
        purpose=draw(st.sampled_from(("I", "D"))),
        order=draw(st.sampled_from(("linear", "quadratic"))),
        samples=samples,
        repeats=draw(st.integers(0, samples - 1)),
        step_ppm=draw(st.sampled_from((50_000, 100_000))),
    )
    return Asked(plan, tuple(coffees), tuple(limits))


def broken(wish: Asked, blend: tuple[int, ...]) -> bool:
    """Whether a blend breaks a limit that was asked for, told without the rooms' help."""
    pairs = list(zip(wish.coffees, blend, strict=True))
    for limit, share in pairs:
        if not limit.low_ppm <= share <= limit.high_ppm:
            return True
    washed = sum(share for limit, share in pairs if limit.approach.lot.process == "washed")
    for group in wish.groups:
        low, high = group.low_ppm, group.high_ppm
        if washed < (low or 0) or (high is not None and washed > high):
            return True
    lots = Counter(limit.approach.lot_id for limit, share in pairs if share)
    return max(lots.values()) > 1


def on_the_step(q: int, step: int) -> Iterator[tuple[int, ...]]:
    """Every way to part 100 % into q shares on a step, one by one."""
    for bars in combinations(range(PPM // step + q - 1), q - 1):
        ends = (-1, *bars, PPM // step + q - 1)
        yield tuple((ends[i + 1] - ends[i] - 1) * step for i in range(q))


@settings(max_examples=25, deadline=None)
@given(asked())
def test_every_blend_is_within_its_limits_and_can_be_weighed(wish: Asked) -> None:
    room = Room(wish, None, ("body",))
    before, design.LONGEST_S = design.LONGEST_S, 0.0
    found: tuple[tuple[int, ...], ...] = ()
    refusal = ""
    try:
        found = tuple(tuple(blend) for blend in room.choose().trials)
    except InfeasibleError:
        return
    except InputError as error:
        refusal = str(error)
    finally:
        design.LONGEST_S = before
    if refusal:
        assert "finer step" in refusal
        every = on_the_step(len(wish.coffees), wish.plan.step_ppm)
        assert all(broken(wish, blend) for blend in every), "the refusal is true"
        return
    assert len(found) == wish.plan.samples
    for blend in found:
        assert sum(blend) == PPM
        assert all(share % wish.plan.step_ppm == 0 for share in blend)
        assert not broken(wish, blend)
        assert room.broken(blend) == []


def test_blends_that_come_again_go_for_others_that_differ_by_more_than_a_spoonful() -> None:
    listed = Region("ABC").grid(0.05)
    aim = Aim("quadratic", [(np.eye(6), None)])
    points = np.array([[1, 0, 0], [1, 0, 0], [0, 1, 0], [1, 0, 0], [0, 1, 0]], dtype=float)
    found = distinct(points, listed, aim, fixed=(3,))
    apart = np.abs(found[:, None] - found[None]).max(axis=2)
    assert apart[np.triu_indices(5, 1)].min() >= 0.15 - 1e-9
    assert (found[3] == [1, 0, 0]).all(), "the reference stays"
    assert (points[1] == [1, 0, 0]).all(), "what came in is as it was"


def test_repeats_are_of_different_blends_until_all_came_twice() -> None:
    aim = Aim("quadratic", [(np.eye(6), None)])
    found = with_repeats(np.eye(3), 4, aim)
    assert sorted(map(tuple, found[3:6].tolist())) == sorted(map(tuple, np.eye(3).tolist()))
    assert len(found) == 7


def test_one_more_blend_is_worth_what_the_plain_formula_says() -> None:
    rng = np.random.default_rng(4)
    others, listed = Region("ABCD").sample(5, rng=rng), Region("ABCD").sample(7, rng=rng)
    half = rng.standard_normal((10, 10))
    weights, precision = half @ half.T, np.eye(10)
    traces = Aim("quadratic", [(precision, weights)]).with_one_more(others, listed)
    volumes = Aim("quadratic", [(precision, None)]).with_one_more(others, listed)
    for i, x in enumerate(listed):
        rows = model_matrix(np.vstack([others, x]), "quadratic")
        after = np.linalg.inv(precision + rows.T @ rows)
        assert traces[i] == pytest.approx(np.trace(weights @ after), rel=1e-9)
        assert volumes[i] == pytest.approx(np.linalg.slogdet(after)[1], rel=1e-9)


def test_what_is_kept_small_is_what_the_plan_is_judged_by() -> None:
    """The exchange of repeats and the loss that is shown use one measure."""
    room = Room(Asked(Plan(samples=6), tuple(coffee(i) for i in range(3))), None, ("body",))
    x = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [0.5, 0.5, 0]])
    value = room._aim().with_one_more(x[:3], x[3:])[0]
    judged = assess(room.region, x, "quadratic", "I", prior_precision=room.prior).value
    assert value == pytest.approx(judged, rel=1e-9)


def test_rules_are_offered_for_what_the_coffees_have_in_common() -> None:
    approaches = [coffee(0).approach, coffee(1).approach, coffee(2, lot=0).approach]
    offered = dict(groups.choices(approaches))
    assert offered["process:washed"] == "washed coffees"
    assert offered["lot:0"] == "Lot 0 by any approach"
    assert "species:arabica" not in offered, "all are arabica: no choice there"
    assert groups.members("process:natural", approaches) == [approaches[1]]


def test_a_limit_is_drawn_where_it_is_just_kept() -> None:
    region = Region("ABC", lower=[0.2, 0, 0], upper=[1, 0.5, 1])
    lines = {line.text: line.ends for line in limit_lines(region)}
    assert set(lines) == {"at least 20 % A", "at most 50 % B"}
    for text, ends in lines.items():
        share = np.array(ends)[:, 0 if "A" in text else 1]
        assert share == pytest.approx([0.2, 0.2] if "A" in text else [0.5, 0.5])
        assert np.array(ends).sum(axis=1) == pytest.approx([1, 1])
