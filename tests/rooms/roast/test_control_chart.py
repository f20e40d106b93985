"""Control charts against the printed examples of the NIST/SEMATECH e-Handbook."""

from __future__ import annotations

import json
from pathlib import Path

import hypothesis.extra.numpy as hnp
import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given, settings

from coupage.errors import InputError
from coupage.roast import control_chart

CHARTS = json.loads(
    (Path(__file__).parents[2] / "references/control_charts/charts.json").read_text()
)


def test_individuals_and_moving_range_nist_6322() -> None:
    case = CHARTS["nist-imr"]
    chart = control_chart(case["inputs"]["x"])
    want, tol = case["expected"], case["tolerance"]
    assert chart.center == pytest.approx(want["mean"], abs=tol)
    assert chart.range_center == pytest.approx(want["MRbar"], abs=tol)
    assert chart.upper == pytest.approx(want["UCL"], abs=tol)
    assert chart.lower == pytest.approx(want["LCL"], abs=tol)
    assert chart.range_upper == pytest.approx(want["UCL_MR"], abs=tol)
    np.testing.assert_allclose(chart.moving_range, want["MR"], atol=1e-12)
    assert chart.signals == ()
    assert "in control" in chart.explain("flow")


def test_ewma_nist_6324() -> None:
    case = CHARTS["nist-ewma"]
    given_ = case["inputs"]
    chart = control_chart(
        given_["x"], "ewma", center=given_["target"], sigma=given_["s"], weight=given_["lambda"]
    )
    np.testing.assert_allclose(chart.points, case["expected"]["ewma"], atol=case["tolerance"])
    assert chart.upper == pytest.approx(case["expected"]["UCL"], abs=3e-4)
    assert chart.lower == pytest.approx(case["expected"]["LCL"], abs=3e-4)
    assert chart.signals == ()


def test_cusum_nist_6323() -> None:
    case = CHARTS["nist-cusum"]
    given_, want = case["inputs"], case["expected"]
    sigma = given_["k"] / 0.5
    chart = control_chart(
        given_["x"], "cusum", center=given_["target"], sigma=sigma, decision=given_["h"] / sigma
    )
    np.testing.assert_allclose(chart.points[:, 0], want["S_hi"], atol=case["tolerance"])
    np.testing.assert_allclose(chart.points[:, 1], want["S_lo"], atol=case["tolerance"])
    assert chart.upper == pytest.approx(given_["h"])
    assert chart.first is not None
    assert chart.first + 1 == want["first_signal"]
    assert "high since point 13" in chart.explain("height")


def test_first_signal_is_told_in_words() -> None:
    loss = [15.0, 15.3, 14.8, 15.1, 14.9, 15.2, 14.9, 15.0, 18.4, 15.1]
    chart = control_chart(loss, baseline=8)
    assert chart.first == 8
    text = chart.explain("loss in %", [f"batch R{i}" for i in range(10)], digits=1)
    assert text.startswith("batch R8 is the first out of control: loss in % 18.4 against 15.0")
    assert "beyond 3 sigma (Western Electric 1)" in text
    assert "jumped further" in text


def test_a_jump_back_within_limits_is_seen_by_the_moving_range() -> None:
    z = [0.0, 1.0, -1.0, 0.5, -0.4, 2.4, -2.4]
    chart = control_chart(z, center=0, sigma=1, rules="none")
    assert [(s.index, s.rule) for s in chart.signals] == [(6, "moving range")]


def test_baseline_slice_sets_the_lines() -> None:
    x = [9.0, 1.0, 5.0, 15.0, 16.0, 14.0, 15.0]
    chart = control_chart(x, baseline=slice(3, None))
    assert chart.center == pytest.approx(15.0)
    assert chart.range_center == pytest.approx((1 + 2 + 1) / 3)


series = hnp.arrays(float, st.integers(5, 30), elements=st.floats(-50, 50)).filter(
    lambda x: np.abs(np.diff(x)).mean() > 1e-3
)


@settings(deadline=None, max_examples=40)
@given(series, st.sampled_from(["individuals", "ewma", "cusum"]), st.floats(0.1, 10))
def test_units_do_not_change_the_signals(x: np.ndarray, kind: str, scale: float) -> None:
    x = x.round(3)
    plain = control_chart(x, kind, rules="nelson")  # type: ignore[arg-type]
    mirrored = control_chart(7 - scale * x, kind, rules="nelson")  # type: ignore[arg-type]
    # Ties with a limit may fall either way in another unit; the drawn lines must not.
    np.testing.assert_allclose(mirrored.sigma, scale * plain.sigma, rtol=1e-9)
    if kind == "cusum":
        np.testing.assert_allclose(
            mirrored.points[:, ::-1], scale * plain.points, atol=1e-6 * scale * 50
        )
    else:
        np.testing.assert_allclose(mirrored.points, 7 - scale * plain.points, atol=1e-6)
        assert mirrored.lower == pytest.approx(7 - scale * plain.upper, abs=1e-6)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: control_chart([1.0]), "at least two"),
        (lambda: control_chart([1.0, np.nan, 2.0]), "point 2"),
        (lambda: control_chart([1.0, 1.0, 1.0]), "varies"),
        (lambda: control_chart([1.0, 2.0], sigma=-1.0), "above 0"),
        (lambda: control_chart([1.0, 2.0, 3.0], baseline=1), "at least two"),
        (lambda: control_chart([1.0, 2.0], "xbar"), "individuals, ewma or cusum"),  # type: ignore[arg-type]
        (lambda: control_chart([1.0, 2.0], rules="house"), "nelson"),  # type: ignore[arg-type]
        (lambda: control_chart([1.0, 2.0], "ewma", weight=0), "weight"),
        (lambda: control_chart([1.0, 2.0], "ewma", width=0), "width"),
        (lambda: control_chart([1.0, 2.0], "cusum", slack=-1), "slack"),
        (lambda: control_chart([1.0, 2.0], "cusum", decision=0), "decision"),
    ],
)
def test_bad_input_is_named(call: object, says: str) -> None:
    with pytest.raises(InputError, match=says):
        call()  # type: ignore[operator]
