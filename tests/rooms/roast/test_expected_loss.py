"""The hierarchy of losses against REML: a published example and a general reference library."""

from __future__ import annotations

import json
from pathlib import Path

import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given, settings

from coupage.errors import InputError
from coupage.roast import LossPriors, expected_loss
from coupage.roast.expected_loss import _cells, _closed_form

DYESTUFF = json.loads((Path(__file__).parents[2] / "references/dyestuff/dyestuff.json").read_text())
FLAT = LossPriors(typical_sd=np.inf)


def _dyestuff() -> tuple[np.ndarray, list[str]]:
    rows = [(b, y) for b, ys in DYESTUFF["yields"].items() for y in ys]
    return np.array([y for _, y in rows], dtype=float), [b for b, _ in rows]


def test_marginal_peaks_at_the_published_reml_estimates() -> None:
    y, batch = _dyestuff()
    cells = _cells(y, batch, [""] * y.size)
    means = y.reshape(6, 5).mean(1)
    between, within = 5 * means.var() * 6, cells.within
    assert between == pytest.approx(DYESTUFF["sum_of_squares"]["between"])
    assert within == pytest.approx(DYESTUFF["sum_of_squares"]["within"])

    def at(tl: float, s: float) -> float:
        return float(_closed_form(cells, np.array([[1.0, tl, s]]), FLAT).log_marginal[0])

    # With one group and a flat mean the sd between groups says nothing, so any value serves.
    from scipy.optimize import minimize

    best = minimize(
        lambda p: -at(*np.exp(p)),
        np.log([30.0, 60.0]),
        method="Nelder-Mead",
        options={"xatol": 1e-9, "fatol": 1e-12, "maxiter": 2000},
    )
    tl, s = np.exp(best.x)
    assert tl == pytest.approx(DYESTUFF["reml_sd"]["between"], abs=5e-3)
    assert s == pytest.approx(DYESTUFF["reml_sd"]["within"], abs=5e-3)
    given_ = _closed_form(cells, np.array([[1e-9, tl, s]]), FLAT)
    effects = given_.cell[0][0] - given_.usual[0][0]
    np.testing.assert_allclose(effects, list(DYESTUFF["effects"].values()), atol=1e-3)


def test_nested_marginal_and_levels_agree_with_a_dense_normal_model() -> None:
    """Unbalanced lots in approaches: the closed form is the textbook GLS and BLUP (numpy)."""
    rng = np.random.default_rng(3)
    groups = ["x"] * 9 + ["y"] * 5 + ["z"] * 2
    lots = list("aaaabbccc") + list("aaddd") + list("ee")
    y = rng.normal(0.16, 0.02, len(lots))
    cells = _cells(y, lots, groups)
    got = []
    want = []
    for ta, tl, s in [(0.02, 0.01, 0.008), (0.005, 0.03, 0.02)]:
        given_ = _closed_form(cells, np.array([[ta, tl, s]]), FLAT)
        Z = np.array(
            [
                [float((g, lot) == key) for key in cells.keys]
                for g, lot in zip(groups, lots, strict=True)
            ]
        )
        G = np.array([[float(k[0] == j[0]) for j in cells.keys] for k in cells.keys]) * ta**2
        G += np.eye(len(cells.keys)) * tl**2
        V = Z @ G @ Z.T + np.eye(y.size) * s**2
        Vi, one = np.linalg.inv(V), np.ones(y.size)
        mu = one @ Vi @ y / (one @ Vi @ one)
        r = y - mu
        got.append(given_.log_marginal[0])
        want.append(-0.5 * (np.linalg.slogdet(V)[1] + np.log(one @ Vi @ one) + r @ Vi @ r))
        np.testing.assert_allclose(given_.cell[0][0], mu + G @ Z.T @ Vi @ r, atol=1e-12)
        # Variance of the levels: prior minus explained, plus what the unknown mean adds.
        lean = 1 - G @ Z.T @ Vi @ one
        cov = G - G @ Z.T @ Vi @ Z @ G + np.outer(lean, lean) / (one @ Vi @ one)
        np.testing.assert_allclose(given_.cell[1][0], np.diag(cov), atol=1e-14)
    assert got[0] - got[1] == pytest.approx(want[0] - want[1], abs=1e-9)


def test_marginal_peaks_where_statsmodels_puts_reml() -> None:
    import warnings

    import pandas as pd
    import statsmodels.formula.api as smf

    rng = np.random.default_rng(5)
    groups = np.repeat([f"a{i}" for i in range(8)], 12)
    lots = [f"{g}-{i // 4}" for g, i in zip(groups, np.tile(np.arange(12), 8), strict=True)]
    level = {n: rng.normal(0, 2) for n in set(groups)} | {n: rng.normal(0, 1) for n in set(lots)}
    y = np.array([17 + level[g] + level[k] for g, k in zip(groups, lots, strict=True)])
    y = (y + rng.normal(0, 0.7, y.size)) / 100
    keep = rng.random(y.size) > 0.25
    frame = pd.DataFrame({"y": 100 * y, "g": groups, "k": lots})[keep]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fit = smf.mixedlm(
            "y ~ 1", frame, groups="g", re_formula="1", vc_formula={"k": "0 + C(k)"}
        ).fit(reml=True)
    sds = np.sqrt([float(fit.cov_re.iloc[0, 0]), float(fit.vcomp[0]), fit.scale]) / 100
    cells = _cells(y[keep], list(frame["k"]), list(frame["g"]))
    near = sds * np.exp(0.02 * np.vstack([np.zeros(3), np.eye(3), -np.eye(3)]))
    heights = _closed_form(cells, near, FLAT).log_marginal
    assert heights.argmax() == 0
    # and flat there: steps to either side cost the same, to a small part of what they cost
    for k in range(3):
        up, down = heights[0] - heights[1 + k], heights[0] - heights[4 + k]
        assert abs(up - down) < 0.35 * (up + down)


def test_few_batches_lean_on_the_approach_and_many_do_not() -> None:
    rng = np.random.default_rng(1)
    lots = ["old"] * 40 + ["b"] * 10 + ["c"] * 10 + ["new"]
    level = {"old": 0.185, "b": 0.150, "c": 0.155, "new": 0.185}
    y = np.array([level[k] for k in lots]) + rng.normal(0, 0.004, len(lots))
    model = expected_loss(y, lots=lots)
    old, new = model.expect("old"), model.expect("new")
    assert old.mean == pytest.approx(y[:40].mean(), abs=3e-4)
    assert y[:60].mean() < new.mean < y[-1]
    assert new.sd > 3 * old.sd
    unseen = model.expect("unseen")
    assert unseen.batches == 0
    assert unseen.sd > new.sd
    assert model.expect("x", "another approach").sd > unseen.sd
    assert model.batch_sd == pytest.approx(0.004, rel=0.25)


def test_no_batch_gives_the_prior() -> None:
    blank = expected_loss([], lots=[]).expect("anything")
    assert blank.mean == pytest.approx(LossPriors().typical, abs=1e-6)
    assert blank.low90 < 0.14 < 0.20 < blank.high90


def test_quantile_is_the_normal_one_and_narrows_with_batches() -> None:
    one = expected_loss([0.15, 0.152, 0.149], lots=list("aaa")).expect("a")
    from statistics import NormalDist

    dist = NormalDist(one.mean, float(np.hypot(one.sd, one.batch_sd)))
    assert dist.cdf(one.quantile(0.95)) == pytest.approx(0.95)
    assert one.mean < one.quantile(0.95, batches=9) < one.quantile(0.95)


def test_intervals_hold_the_truth_about_as_often_as_they_say() -> None:
    """300 lots' levels from the model's own priors: 90 and 50 % within 4 standard errors."""
    rng = np.random.default_rng(7)
    inside, half = [], []
    for _ in range(15):
        sd_lot, sd_batch = abs(rng.normal(0, 0.015)), abs(rng.normal(0, 0.01))
        mu = rng.normal(0.17, 0.02)
        truth = rng.normal(mu, sd_lot, 20)
        count = rng.integers(1, 6, 20)
        lots = [f"{i}" for i in np.repeat(np.arange(20), count)]
        y = np.repeat(truth, count) + rng.normal(0, sd_batch, count.sum())
        model = expected_loss(y, lots=lots)
        beliefs = [model.expect(str(i)) for i in range(20)]
        inside += [b.low90 < t < b.high90 for b, t in zip(beliefs, truth, strict=True)]
        half += [b.low50 < t < b.high50 for b, t in zip(beliefs, truth, strict=True)]
    assert np.mean(inside) == pytest.approx(0.9, abs=4 * np.sqrt(0.09 / 300))
    assert np.mean(half) == pytest.approx(0.5, abs=4 * np.sqrt(0.25 / 300))


@settings(deadline=None, max_examples=15)
@given(
    st.lists(
        st.tuples(st.sampled_from("abc"), st.sampled_from("xy"), st.floats(0.1, 0.25)),
        min_size=1,
        max_size=12,
    ),
    st.randoms(),
)
def test_order_and_names_of_batches_do_not_matter(rows: list, shuffle: object) -> None:
    def fit(rows: list) -> dict:
        lots, groups, y = zip(*rows, strict=True)
        return {
            (e.lot, e.approach): (e.mean, e.low90, e.high90)
            for e in expected_loss(y, lots=lots, approaches=groups).seen
        }

    mixed = list(rows)
    shuffle.shuffle(mixed)  # type: ignore[attr-defined]
    first, second = fit(rows), fit(mixed)
    for key, values in first.items():
        np.testing.assert_allclose(values, second[key], atol=1e-7)
        assert values[1] < values[0] < values[2]


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: expected_loss([0.1], lots=[]), "one of each per batch"),
        (lambda: expected_loss([16.0], lots=["a"]), "such as 0.16"),
        (lambda: expected_loss([np.nan], lots=["a"]), "batch 1"),
        (lambda: expected_loss([0.1], lots=["a"]).expect("a").quantile(1.0), "chance"),
    ],
)
def test_bad_input_is_named(call: object, says: str) -> None:
    with pytest.raises(InputError, match=says):
        call()  # type: ignore[operator]
