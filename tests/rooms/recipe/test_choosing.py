from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.rooms.recipe import slow
from tests.rooms.recipe.fake import FakeBeliefs, Mixture, make

from coupage.errors import InfeasibleError, InputError
from coupage.mixture import Group, Region
from coupage.recipe import Brief, Choice, Want, chance_on_brief, choose, engine, search
from coupage.recipe.bounds import Outlook


def brief(rng: np.random.Generator, **settings: object) -> Brief:
    centre = 5.3 + rng.normal(0, 0.6, 3)
    wants = (
        Want("attribute 1", "at least", centre[0]),
        Want("attribute 2", "between", centre[1] - 0.8, centre[1] + 0.8),
        Want("attribute 3", "at most", high=centre[2]),
    )
    return Brief("b", wants, **settings)  # type: ignore[arg-type]


def shares(choice: Choice, names: tuple[str, ...]) -> list[float]:
    return [choice.recipe.get(name, 0.0) for name in names]


def agree(
    found: list[Choice], truth: list[tuple[float, list[float]]], beliefs: FakeBeliefs
) -> None:
    """Same chances in the same order; same recipes wherever the chances are not tied."""
    top = truth[: len(found)]
    assert [c.chance for c in found] == pytest.approx([chance for chance, _ in top], abs=1e-9)
    for choice, (chance, x) in zip(found, top, strict=True):
        if sum(abs(chance - other) < 1e-8 for other, _ in truth) == 1:
            assert shares(choice, beliefs.components) == pytest.approx(x, abs=1e-12)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("parts", [1, 7])
def test_the_list_is_the_top_of_every_recipe_weighed_one_by_one(seed: int, parts: int) -> None:
    rng = np.random.default_rng(seed)
    beliefs = make(4, 3, parts, rng, draws=1.5)
    wanted = brief(rng, max_components=3)
    truth = slow.best(wanted, beliefs, 10)
    agree(choose(wanted, beliefs, step=0.1), truth, beliefs)


FINE = engine.Engine._fine


def fine_and_complete(self: engine.Engine, k: int, outlooks: list[Outlook]) -> np.ndarray:
    """No composition inside every window is missing from the cells that were kept."""
    columns = FINE(self, k, outlooks)
    holds = np.all([outlook.holds(self._lattice(k))[0] for outlook in outlooks], axis=0)
    assert set(np.flatnonzero(holds)) <= set(columns)
    return columns


@pytest.mark.parametrize("seed", range(12))
def test_without_a_good_start_the_list_is_the_same(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A lucky start must not hide a bound that drops too much."""
    rng = np.random.default_rng(100 + seed)
    beliefs = make(6, 3, 5, rng, draws=1.5)
    wanted = brief(rng)
    monkeypatch.setattr(engine, "_CELLS", 600)
    monkeypatch.setattr(engine.Engine, "_seed", lambda self, cups: None)
    if seed % 2:
        monkeypatch.setattr(engine.Engine, "_fine", fine_and_complete)
        monkeypatch.setattr(engine, "_FINE", 100)
        monkeypatch.setattr(engine, "_COARSE", 10)
    points = Region(beliefs.components).grid(0.05)
    points = points[(points > 0).sum(axis=1) <= 4]
    chances = np.sort(chance_on_brief(wanted, beliefs, points))[::-1]
    found = choose(wanted, beliefs)
    assert [c.chance for c in found] == pytest.approx(chances[:10].tolist(), abs=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_every_limit_is_kept_and_the_list_still_exact(seed: int) -> None:
    rng = np.random.default_rng(50 + seed)
    beliefs = make(5, 3, 4, rng)
    names = beliefs.components
    cost = dict(zip(names, [7.0, 9.5, 6.2, 11.0, 8.1], strict=True))
    stock = dict(zip(names, [30.0, 9.0, 100.0, 18.0, 44.0], strict=True))
    region = Region(
        names,
        upper={names[0]: 0.6},
        groups=[Group({names[1]: 1, names[3]: 1}, lower=0.2, name="washed")],
    )
    wanted = brief(rng, max_components=4, cost_cap=8.4, min_share=0.1)

    def allowed(x: list[float]) -> bool:
        return (
            x[0] <= 0.6 + 1e-9
            and x[1] + x[3] >= 0.2 - 1e-9
            and not (x[2] and x[4])
            and sum(share * c for share, c in zip(x, cost.values(), strict=True)) <= 8.4 + 1e-9
            and all(share * 40 <= kg + 1e-9 for share, kg in zip(x, stock.values(), strict=True))
        )

    found = search(
        wanted,
        beliefs,
        step=0.1,
        region=region,
        cost_per_kg=cost,
        stock_kg=stock,
        batch_kg=40,
        exclusive=[{names[2], names[4]}],
        front=True,
    )
    truth = slow.best(wanted, beliefs, 10, allowed=allowed)
    agree(list(found.choices), truth, beliefs)
    for choice in found.choices:
        x = shares(choice, names)
        assert allowed(x)
        assert choice.cost == pytest.approx(
            sum(s * c for s, c in zip(x, cost.values(), strict=True))
        )
        assert list(choice.recipe.values()) == sorted(choice.recipe.values(), reverse=True)
        means = [sum(w * m for w, m, _ in slow.parts_of(beliefs, a, x)) for a in choice.profile]
        assert list(choice.profile.values()) == pytest.approx(means)
    costs = [(sum(s * c for s, c in zip(x, cost.values(), strict=True)), p) for p, x in truth]
    front, reached = [], -1.0
    for money, chance in sorted(costs, key=lambda pair: (round(pair[0], 9), -pair[1])):
        if chance > reached + 1e-9:
            front.append((money, chance))
            reached = chance
    assert [(c.cost, c.chance) for c in found.front] == [pytest.approx(p, abs=1e-9) for p in front]


@settings(deadline=None, max_examples=25)
@given(st.integers(0, 10_000), st.sampled_from([0.2, 0.1, 0.125]), st.integers(1, 4))
def test_no_recipe_on_the_step_beats_the_first(seed: int, step: float, most: int) -> None:
    rng = np.random.default_rng(seed)
    beliefs = make(4, 3, 3, rng, cuppings=int(rng.integers(1, 20)), draws=2.0)
    wanted = brief(rng, max_components=most, min_share=0.0)
    points = Region(beliefs.components).grid(step)
    points = points[(points > 0).sum(axis=1) <= most]
    chances = chance_on_brief(wanted, beliefs, points)
    found = choose(wanted, beliefs, step=step, top=5)
    assert [c.chance for c in found] == pytest.approx(np.sort(chances)[::-1][:5].tolist(), abs=1e-9)


@pytest.mark.parametrize("seed", range(3))
def test_fine_steps_through_cells_are_as_exact(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(seed)
    beliefs = make(4, 3, 5, rng)
    wanted = brief(rng, max_components=3)
    plain = search(wanted, beliefs, step=0.02)
    monkeypatch.setattr(engine, "_FINE", 40)
    monkeypatch.setattr(engine, "_COARSE", 10)
    monkeypatch.setattr(engine, "_COLUMNS", 100)
    through_cells = search(wanted, beliefs, step=0.02)
    assert through_cells.choices == plain.choices
    points = Region(beliefs.components).grid(0.02)
    points = points[
        ((points > 0).sum(axis=1) <= 3) & ((points == 0) | (points >= 0.05)).all(axis=1)
    ]
    chances = np.sort(chance_on_brief(wanted, beliefs, points))[::-1][:10]
    assert [c.chance for c in plain.choices] == pytest.approx(chances.tolist(), abs=1e-9)


def certain(low: float) -> tuple[FakeBeliefs, Brief]:
    """Three coffees that are known so well that many recipes are sure to be on brief."""
    means = np.array([[8.0, 7.0, 4.0, 0, 0, 0]])
    sure = Mixture(np.ones(1), means, np.diag([1e-6] * 6)[None])
    wants = (Want("body", "at least", low),)
    return FakeBeliefs(("a", "b", "c"), {"body": sure}), Brief("sure", wants)


def test_ties_in_chance_go_to_desirability_then_cost_then_fewer_coffees() -> None:
    beliefs, wanted = certain(5.0)
    cost = {"a": 9.0, "b": 8.0, "c": 4.0}
    found = choose(wanted, beliefs, step=0.1, cost_per_kg=cost, top=5)
    sure = [
        (round(9 * r[0] + 8 * r[1] + 4 * r[2], 9), sum(n > 0 for n in r), r)
        for r in ((a / 10, b / 10, (10 - a - b) / 10) for a in range(11) for b in range(11 - a))
        if 8 * r[0] + 7 * r[1] + 4 * r[2] >= 5.05
    ]
    expected = [money for money, _, _ in sorted(sure)[:5]]
    assert [c.cost for c in found] == pytest.approx(expected)
    assert found[0].chance == pytest.approx(1)
    free = choose(wanted, beliefs, step=0.1, top=1)
    assert free[0].recipe == {"a": 1.0}


def test_close_chances_may_be_called_the_same() -> None:
    rng = np.random.default_rng(3)
    beliefs = make(4, 3, 2, rng)
    wanted = brief(rng)
    cost = dict(zip(beliefs.components, [5.0, 9.0, 7.0, 6.0], strict=True))
    every = choose(wanted, beliefs, step=0.1, cost_per_kg=cost, top=10_000)
    same = choose(wanted, beliefs, step=0.1, cost_per_kg=cost, top=30, same_chance=0.02)
    every.sort(key=lambda c: (-round(c.chance / 0.02), -round(c.desirability, 9), c.cost))
    assert [c.recipe for c in same] == [c.recipe for c in every[:30]]


def test_the_same_call_gives_the_same_list() -> None:
    rng = np.random.default_rng(9)
    beliefs = make(6, 3, 5, rng)
    wanted = brief(rng)
    assert choose(wanted, beliefs) == choose(wanted, beliefs)


def test_progress_is_told_and_can_stop_the_search(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(engine, "_REPORT", 2_000)
    rng = np.random.default_rng(9)
    beliefs = make(7, 3, 2, rng)
    wanted = brief(rng)
    seen: list[float] = []
    whole = search(wanted, beliefs, progress=seen.append)
    assert whole.proven
    assert seen == sorted(seen)
    assert seen[-1] == 1
    stopped = search(wanted, beliefs, progress=lambda share: share < 0.3)
    assert not stopped.proven
    assert stopped.recipes < whole.recipes
    assert stopped.choices


def test_threads_find_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(engine, "_REPORT", 2_000)
    rng = np.random.default_rng(11)
    beliefs = make(7, 3, 4, rng)
    cost = {name: 5.0 + n for n, name in enumerate(beliefs.components)}
    one, three = (
        search(brief(np.random.default_rng(3)), beliefs, cost_per_kg=cost, front=True, workers=n)
        for n in (1, 3)
    )
    assert three.choices == one.choices
    assert three.front == one.front
    assert three.recipes == one.recipes
    halted = search(brief(rng), beliefs, workers=3, progress=lambda share: False)
    assert not halted.proven
    with pytest.raises(InputError, match="workers"):
        search(brief(rng), beliefs, workers=0)


def test_a_region_names_the_candidates() -> None:
    rng = np.random.default_rng(1)
    beliefs = make(5, 3, 2, rng)
    some = [beliefs.components[i] for i in (3, 0, 4)]
    found = choose(brief(rng), beliefs, step=0.1, region=Region(some))
    assert {name for choice in found for name in choice.recipe} <= set(some)
    forced = choose(brief(rng), beliefs, step=0.1, region=Region(some, lower={some[1]: 0.25}))
    assert all(choice.recipe[some[1]] >= 0.3 - 1e-9 for choice in forced)


@pytest.mark.parametrize(
    ("arguments", "words", "clashing"),
    [
        ({"step": 0.1, "cap": 5.0}, "cost at most 5", ("cost at most 5 per kg",)),
        ({"stock_kg": {"a": 3, "b": 3, "c": 3}, "batch_kg": 10}, "at most 30 %", None),
        ({"groups": True}, "at least 60 % a \\+ b", None),
    ],
)
def test_limits_that_clash_are_named(
    arguments: dict[str, object], words: str, clashing: tuple[str, ...] | None
) -> None:
    beliefs, _ = certain(5.0)
    wanted = Brief("b", (Want("body", low=5),), cost_cap=arguments.pop("cap", None))  # type: ignore[arg-type]
    if wanted.cost_cap:
        arguments["cost_per_kg"] = {"a": 9.0, "b": 8.0, "c": 6.0}
    if arguments.pop("groups", False):
        arguments["region"] = Region(
            "abc", upper=[0.4, 1, 1], groups=[Group({"a": 1, "b": 1}, 0.6)]
        )
        arguments["stock_kg"], arguments["batch_kg"] = {"a": 9, "b": 1, "c": 9}, 10
    with pytest.raises(InfeasibleError, match=words) as caught:
        choose(wanted, beliefs, **arguments)  # type: ignore[arg-type]
    if clashing:
        assert caught.value.clashing == clashing


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"step": 0.03}, "does not divide 1"),
        ({"top": 0}, "top"),
        ({"same_chance": 0}, "same_chance"),
        ({"stock_kg": {"a": 1, "b": 1, "c": 1}}, "batch_kg"),
        ({"stock_kg": {"a": 1}, "batch_kg": 5}, "nothing is given for 'b', 'c'"),
        ({"cost_per_kg": {"a": 1, "b": -1, "c": 1}}, "-1.0 for 'b'"),
        ({"exclusive": [{"a", "z"}]}, "'z' is not among"),
        ({"region": Region(["a", "z"])}, "'z' is not among"),
    ],
)
def test_bad_arguments_are_named(arguments: dict[str, object], words: str) -> None:
    beliefs, wanted = certain(5.0)
    with pytest.raises(InputError, match=words):
        choose(wanted, beliefs, **arguments)  # type: ignore[arg-type]


@pytest.mark.parametrize("seed", range(3))
def test_of_what_is_on_hand_at_least_one_coffee_lasts(seed: int) -> None:
    """Against every recipe, one by one: lots of two approaches count together."""
    rng = np.random.default_rng(700 + seed)
    beliefs, wanted = make(5, 3, 3, rng), brief(rng)
    names = beliefs.components
    uses = {name: float(rng.uniform(1.5, 6)) for name in names}
    lots = [{names[0], names[1]}, {names[2]}, {names[3]}]  # the fifth has no green at all

    def lasts(x: list[float]) -> bool:
        used = {name: share for name, share in zip(names, x, strict=True) if share}
        return any(
            lot & used.keys() and sum(uses[n] * used.get(n, 0) for n in lot) <= 1 + 1e-9
            for lot in lots
        )

    found = search(wanted, beliefs, step=0.1, one_lasts=[{n: uses[n] for n in lot} for lot in lots])
    truth = slow.best(wanted, beliefs, 10, allowed=lasts)
    agree(list(found.choices), truth, beliefs)
    assert not all(lasts(x) for _, x in slow.best(wanted, beliefs, 10)), "the limit says nothing"


def test_where_no_coffee_lasts_that_is_the_limit_that_clashes() -> None:
    beliefs, wanted = certain(5.0)
    with pytest.raises(InfeasibleError) as raised:
        choose(wanted, beliefs, one_lasts=[{"a": 30.0}, {"b": 30.0}])
    assert "at least one coffee that lasts" in raised.value.clashing


def test_a_cap_needs_costs_and_a_front_too() -> None:
    beliefs, wanted = certain(5.0)
    with pytest.raises(InputError, match="cost_per_kg"):
        choose(Brief("b", wanted.wants, cost_cap=9), beliefs)
    with pytest.raises(InputError, match="cost_per_kg"):
        search(wanted, beliefs, front=True)
