"""What to weigh: lifts add up, sources are not overdrawn, the oldest goes first."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coupage.errors import InputError
from coupage.units import whole_shares
from coupage.web.production.lifts import plan_lifts


@st.composite
def wishes(draw: st.DrawFn) -> dict[str, object]:
    keys = "abcd"[: draw(st.integers(1, 4))]
    weights = [draw(st.integers(1, 20)) for _ in keys]
    shares = dict(zip(keys, whole_shares([w / sum(weights) for w in weights]), strict=True))
    return {
        "shares_ppm": shares,
        "total_g": draw(st.integers(500, 80_000)),
        "blender_g": draw(st.integers(500, 30_000)),
        "step_g": draw(st.sampled_from([1, 5, 10, 20, 50])),
        "sources": {
            k: [(f"{k}{n}", draw(st.integers(0, 30_000))) for n in range(draw(st.integers(0, 3)))]
            for k in keys
        },
        "rest": draw(st.none() | st.tuples(st.just("rest"), st.just("old"), st.integers(1, 9_000))),
    }


@settings(max_examples=40, deadline=None)
@given(wishes())
def test_a_plan_is_feasible_or_says_what_is_short(wish: dict[str, object]) -> None:
    try:
        plan = plan_lifts(**wish)  # type: ignore[arg-type]
    except InputError:
        assert wish["total_g"] < 2 * wish["step_g"] * -(-wish["total_g"] // wish["blender_g"])  # type: ignore[operator]
        return
    step, total = wish["step_g"], wish["total_g"]
    sources = {s: g for found in wish["sources"].values() for s, g in found}  # type: ignore[attr-defined]
    if wish["rest"]:
        sources["old"] = wish["rest"][2]  # type: ignore[index]
    assert plan.lifts == -(-total // wish["blender_g"])  # type: ignore[operator]
    assert sum(plan.per_lift_g.values()) <= wish["blender_g"] + step  # type: ignore[operator]
    assert abs(plan.total_g - total) <= plan.lifts * 2 * step  # type: ignore[operator]
    for source, grams in plan.planned_g().items():
        assert 0 < grams <= sources[source]
        assert grams % step == 0  # type: ignore[operator]
    for component, grams in plan.per_lift_g.items():
        for lift in range(1, plan.lifts + 1):
            drawn = sum(d.mass_g for d in plan.draws if d.component == component and d.lift == lift)
            assert drawn <= grams
        drawn = sum(d.mass_g for d in plan.draws if d.component == component)
        assert drawn + plan.short_g.get(component, 0) == plan.lifts * grams


@settings(max_examples=40, deadline=None)
@given(wishes())
def test_a_younger_batch_is_not_opened_before_the_older_is_empty(wish: dict[str, object]) -> None:
    try:
        plan = plan_lifts(**wish)  # type: ignore[arg-type]
    except InputError:
        return
    planned, step = plan.planned_g(), wish["step_g"]
    for found in wish["sources"].values():  # type: ignore[attr-defined]
        for (older, grams), (younger, _) in itertools.pairwise(found):
            if planned.get(younger):
                assert planned.get(older, 0) == grams // step * step


@settings(max_examples=40, deadline=None)
@given(wishes())
def test_shares_are_the_recipes_as_near_as_the_scale_can(wish: dict[str, object]) -> None:
    """Largest remainders: no share is off by a whole step of the scale."""
    wish["rest"] = None
    try:
        plan = plan_lifts(**wish)  # type: ignore[arg-type]
    except InputError:
        return
    whole = sum(plan.per_lift_g.values())
    for key, ppm in wish["shares_ppm"].items():  # type: ignore[attr-defined]
        assert abs(plan.per_lift_g.get(key, 0) - whole * ppm / 1e6) < wish["step_g"] + 1e-6


def test_a_lift_below_the_scale_is_refused() -> None:
    with pytest.raises(InputError, match="less than a step"):
        plan_lifts({"a": 1_000_000}, 5, blender_g=1_000, step_g=10, sources={})
    with pytest.raises(InputError, match="above nothing"):
        plan_lifts({"a": 1_000_000}, 0, blender_g=1_000, step_g=10, sources={})
