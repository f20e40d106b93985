from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.rooms.recipe.fake import FakeBeliefs, Mixture, make

from coupage.errors import InputError
from coupage.recipe import Brief, Want, chance_on_brief, desirability
from coupage.recipe.desirability import want_desirability

TYRE = json.loads(
    (Path(__file__).parents[2] / "references/derringer_suich_1980/tyre.json").read_text("utf-8")
)
WANTS = (
    Want("y1", "at least", 120, 170),
    Want("y2", "at least", 1000, 1300),
    Want("y3", "close to", 400, 600),
    Want("y4", "close to", 60, 75),
)


def test_the_published_tyre_tread() -> None:
    """Derringer & Suich (1980): d = (0.187, 1, 0.664, 0.934), D = 0.58 (printed digits)."""
    published = TYRE["published"]
    means = {
        "y1": 120 + 50 * published["d_vignette"][0],
        "y2": 1300.0,
        "y3": 400 + 100 * published["d_vignette"][2],
        "y4": 75 - 7.5 * published["d_vignette"][3],
    }
    assert desirability(Brief("tyre", WANTS), means) == pytest.approx(
        published["D_vignette"], abs=0.005
    )


def test_the_tyre_tread_refitted_reaches_the_published_optimum() -> None:
    """Data of the paper, least squares, desirability here, optimum by a general search."""
    from scipy.optimize import minimize

    x = np.array(TYRE["coded_design"])

    def terms(x: np.ndarray) -> np.ndarray:
        a, b, c = x.T
        return np.column_stack([a**0, a, b, c, a * a, b * b, c * c, a * b, a * c, b * c])

    coefficients = {
        name: np.linalg.lstsq(terms(x), np.array(y, dtype=float), rcond=None)[0]
        for name, y in TYRE["responses"].items()
    }
    brief = Brief("tyre", WANTS)

    def lost(point: np.ndarray) -> float:
        z = terms(np.clip(point, -1.633, 1.633)[None, :])
        return -desirability(brief, {n: float((z @ c)[0]) for n, c in coefficients.items()})

    start = np.array(TYRE["published"]["x_paper_from_memory"]) + 0.02
    found = minimize(lost, start, method="Nelder-Mead", options={"xatol": 1e-6, "fatol": 1e-10})
    best = TYRE["optimum_recomputed"]
    assert -found.fun == pytest.approx(best["D"], abs=1e-3)
    assert found.x == pytest.approx(best["x"], abs=0.01)
    d = [float(want_desirability(w, np.array(m))) for w, m in zip(WANTS, best["y"], strict=True)]
    assert d == pytest.approx(best["d"], abs=1e-9)


def test_importance_weighs_the_geometric_mean() -> None:
    brief = Brief("b", (Want("a", "at least", 0, 10, importance=3), Want("b", "at least", 0, 10)))
    assert desirability(brief, {"a": 2.5, "b": 8}) == pytest.approx((0.25**3 * 0.8) ** 0.25)


@pytest.mark.parametrize(
    ("want", "at"),
    [
        (Want("a", "at least", 6), {4.9: 0, 5.5: 0.5, 6: 1, 9: 1}),
        (Want("a", "at least", 6, 8), {6: 0, 7: 0.5, 8: 1, 9: 1}),
        (Want("a", "at least", 6, fade=0), {5.999: 0, 6: 1}),
        (Want("a", "at most", high=4), {1: 1, 4: 1, 4.25: 0.75, 5: 0}),
        (Want("a", "at most", 2, 4), {1: 1, 2: 1, 3: 0.5, 4: 0}),
        (Want("a", "between", 4, 6, fade=2), {2: 0, 3: 0.5, 4: 1, 6: 1, 7: 0.5, 8: 0}),
        (Want("a", "close to", 4, 6), {4: 0, 4.5: 0.5, 5: 1, 5.5: 0.5, 6: 0}),
        (Want("a", "close to", 4, 6, target=4.5), {4.25: 0.5, 4.5: 1, 5.25: 0.5}),
        (Want("a", "close to", 4, 6, target=4), {3.9: 0, 4: 1, 5: 0.5}),
    ],
)
def test_each_kind_slopes_as_its_table_says(want: Want, at: dict[float, float]) -> None:
    got = want_desirability(want, np.array(list(at)))
    assert got == pytest.approx(list(at.values()), abs=1e-12)


def test_arrays_of_means_give_arrays() -> None:
    brief = Brief("b", (Want("a", "at least", 0, 10), Want("b", "at most", 0, 10)))
    a, b = np.array([2.0, 5.0, 0.0]), np.array([1.0, 9.0, 5.0])
    together = desirability(brief, {"a": a, "b": b})
    alone = [desirability(brief, {"a": float(i), "b": float(j)}) for i, j in zip(a, b, strict=True)]
    assert together.tolist() == pytest.approx(alone)
    assert together[2] == 0
    with pytest.raises(InputError, match="wants 'b'"):
        desirability(brief, {"a": 3.0})


@settings(deadline=None, max_examples=50)
@given(st.lists(st.floats(0, 10), min_size=2, max_size=2), st.floats(0.1, 5), st.floats(0.1, 5))
def test_desirability_lies_between_its_parts(means: list[float], u: float, v: float) -> None:
    wants = (Want("a", low=2, high=9, importance=u), Want("b", "at most", 1, 8, importance=v))
    brief = Brief("b", wants)
    parts = [float(want_desirability(w, np.array(m))) for w, m in zip(wants, means, strict=True)]
    overall = desirability(brief, dict(zip("ab", means, strict=True)))
    assert min(parts) - 1e-12 <= overall <= max(parts) + 1e-12


def test_the_chance_of_one_gaussian_is_the_normal_integral() -> None:
    """Normal distribution: 68.27 % within one sd, 84.13 % above mean - sd (any table)."""
    one = Mixture(np.ones(1), np.array([[5.0, 5.0, 0.0]]), np.diag([1.0, 1.0, 0.25])[None])
    beliefs = FakeBeliefs(("a", "b"), {"body": one, "acidity": one})
    straight = np.array([[1.0, 0.0]])
    within = Brief("w", (Want("body", "between", 4, 6, must=True), Want("acidity", low=9)))
    assert chance_on_brief(within, beliefs, straight) == pytest.approx(0.6826894921, abs=1e-9)
    both = Brief("b", (Want("body", "between", 4, 6), Want("acidity", low=4)))
    expected = 0.6826894921 * 0.8413447461
    assert chance_on_brief(both, beliefs, straight[0]) == pytest.approx([expected], abs=1e-9)


def test_the_chance_agrees_with_draws() -> None:
    rng = np.random.default_rng(4)
    beliefs = make(3, 2, 5, rng)
    x = rng.dirichlet(np.ones(3), size=4)
    brief = Brief("b", (Want("attribute 1", "between", 4.5, 6.5), Want("attribute 2", low=5)))
    z, n = beliefs.terms(x), 40_000
    held = np.ones((n, 4))
    for attribute, (low, high) in brief.events.items():
        mix = beliefs.mixture(attribute)
        which = rng.choice(5, size=n, p=mix.weights)
        roots = np.linalg.cholesky(mix.covariances)
        noise = rng.normal(size=(n, z.shape[1]))
        coefficients = mix.means[which] + np.einsum("npr,nr->np", roots[which], noise)
        y = coefficients @ z.T
        held *= (y >= low) & (y <= high)
    error = 4 * math.sqrt(0.25 / n)
    assert chance_on_brief(brief, beliefs, x) == pytest.approx(held.mean(axis=0), abs=error)


def test_wrong_columns_and_unrated_attributes_are_named() -> None:
    beliefs = make(3, 1, 1, np.random.default_rng(0))
    with pytest.raises(InputError, match="one column for each of the 3"):
        chance_on_brief(Brief("b", (Want("attribute 1", low=5),)), beliefs, [[0.5, 0.5]])
    with pytest.raises(InputError, match="'sweetness' was never rated"):
        chance_on_brief(Brief("b", (Want("sweetness", low=5),)), beliefs, [[1, 0, 0]])
