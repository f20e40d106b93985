from __future__ import annotations

import numpy as np
import pytest
from tests.rooms.recipe.fake import FakeBeliefs, Mixture, make

from coupage.mixture import Group, Region
from coupage.recipe import Brief, Want, choose, reasons, why

WANTS = (Want("attribute 1", "at least", 5.5), Want("attribute 2", "between", 4.5, 6.5))


def plain() -> FakeBeliefs:
    """A dear coffee of body, a cheap one without: linear blending, sd of half a point."""
    means = np.array([[8.0, 4.0, 6.0, 0, 0, 0]])
    doubt = np.diag([0.25, 0.25, 0.25, 1e-9, 1e-9, 1e-9])[None]
    return FakeBeliefs(("dear", "cheap", "fair"), {"body": Mixture(np.ones(1), means, doubt)})


def test_the_price_of_a_cost_cap_is_what_a_looser_cap_would_bring() -> None:
    cost = {"dear": 12.0, "cheap": 6.0, "fair": 9.5}
    tight = Brief("b", (Want("body", "at least", 6),), cost_cap=9.0)
    loose = Brief("b", tight.wants, cost_cap=9.0 * 1.05)
    told = why(tight, plain(), cost_per_kg=cost)
    (first, *_) = told.limits
    best, better = (choose(b, plain(), cost_per_kg=cost)[0] for b in (tight, loose))
    assert told.choice.recipe == best.recipe
    assert told.choice.chance == pytest.approx(best.chance, abs=1e-12)
    assert first.limit == "cost at most 9 per kg"
    assert first.looser == "cost at most 9.45 per kg"
    assert first.gain == pytest.approx(better.chance - best.chance)
    assert first.gain > 0.05
    assert any(
        "cost at most 9.45 per kg instead of cost at most 9 per kg" in s for s in told.sentences
    )


@pytest.mark.parametrize("seed", range(4))
def test_every_price_is_what_choosing_again_gives(seed: int) -> None:
    rng = np.random.default_rng(seed)
    beliefs = make(5, 2, 3, rng)
    a, b, c, *_ = beliefs.components
    region = Region(
        beliefs.components, lower={c: 0.2}, groups=[Group({a: 1, b: 1}, 0.3, name="dry")]
    )
    brief = Brief("b", WANTS, max_components=3, min_share=0.2)
    told = why(brief, beliefs, step=0.1, region=region)
    prices = {price.limit: price for price in told.limits}
    assert told.choice.recipe == choose(brief, beliefs, step=0.1, region=region)[0].recipe
    again = {
        "at least 30 % dry": Region(
            beliefs.components, lower={c: 0.2}, groups=[Group({a: 1, b: 1}, 0.2)]
        ),
    }
    for limit, other in again.items():
        expected = choose(brief, beliefs, step=0.1, region=other)[0].chance
        assert prices[limit].choice.chance == pytest.approx(expected, abs=1e-12)
    smaller = Brief("b", WANTS, max_components=3, min_share=0.1)
    expected = choose(smaller, beliefs, step=0.1, region=region)[0].chance
    assert prices["at least 20 % of each coffee"].choice.chance == pytest.approx(
        expected, abs=1e-12
    )
    assert [p.gain for p in told.limits] == sorted((p.gain for p in told.limits), reverse=True)
    assert all(p.gain >= 0 for p in told.limits)


def test_the_weakest_want_comes_first_with_the_best_it_could_be() -> None:
    beliefs = make(4, 2, 3, np.random.default_rng(2))
    told = why(Brief("b", WANTS), beliefs, step=0.1)
    assert [w.chance for w in told.wants] == sorted(w.chance for w in told.wants)
    assert told.choice.chance == pytest.approx(np.prod([w.chance for w in told.wants]))
    for want in told.wants:
        alone = Brief("alone", tuple(w for w in WANTS if w.attribute == want.attribute))
        assert want.best == pytest.approx(choose(alone, beliefs, step=0.1)[0].chance, abs=1e-9)
        assert want.best >= want.chance - 1e-12
    assert told.sentences[0].startswith(told.wants[0].attribute)


def test_what_would_take_long_is_named_not_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reasons, "_MOST_RECIPES", 10)
    beliefs = make(5, 2, 1, np.random.default_rng(2))
    told = why(Brief("b", WANTS, max_components=1), beliefs, step=0.1)
    assert told.untried == ("at most 1 coffees",)
    assert any("at most 1 coffees" in sentence for sentence in told.sentences)
