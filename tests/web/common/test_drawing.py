"""Bars stand where their figures say and stay on their axis."""

from __future__ import annotations

import math
import re
from datetime import date, timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coupage.errors import InputError
from coupage.web.common.charts import (
    Composition,
    Level,
    Part,
    ProfileChart,
    ProfileRow,
    TrendChart,
    TrendPoint,
    TrendSeries,
)
from coupage.web.common.drawing import (
    SHAPES,
    Axis,
    Doubt,
    doubt_bar,
    nice_ticks,
    percent,
    place,
    wanted_words,
)

figures = st.floats(-1e6, 1e6, allow_nan=False)


@st.composite
def intervals(draw: st.DrawFn) -> Doubt:
    low90, low50, mean, high50, high90 = sorted(draw(st.tuples(*[figures] * 5)))
    return Doubt(mean, low50, high50, low90, high90)


@st.composite
def axes(draw: st.DrawFn) -> Axis:
    low = draw(figures)
    return Axis(low, low + draw(st.floats(1e-3, 1e6)))


def percents(svg: str) -> list[float]:
    return [float(p) for p in re.findall(r'"(-?[\d.]+)%"', svg)]


@settings(deadline=None, max_examples=200)
@given(intervals(), axes())
def test_a_bar_stays_inside_its_axis_and_in_order(interval: Doubt, axis: Axis) -> None:
    p = place(interval, axis)
    assert 0 <= p.left90 <= p.left50 <= p.dot <= p.right50 <= p.right90 <= 100
    assert all(0 <= x <= 100 for x in percents(doubt_bar(interval, axis)))


@settings(deadline=None, max_examples=100)
@given(axes(), st.floats(0, 1))
def test_a_place_is_linear_in_the_value(axis: Axis, part: float) -> None:
    value = axis.low + part * (axis.high - axis.low)
    assert axis.place(value) == pytest.approx(100 * part, abs=1e-6 + 1e-7 * abs(axis.low))


def test_a_known_bar_stands_where_arithmetic_puts_it() -> None:
    # 4 on a scale from 2 to 12 is a fifth of the way.
    assert place(Doubt(4, 3, 5, 2, 7), Axis(2, 12)).dot == 20
    svg = doubt_bar(Doubt(4, 3, 5, 2, 7), Axis(2, 12))
    assert 'class="ninety" x1="0%" x2="50%"' in svg
    assert 'class="fifty" x1="10%" x2="30%"' in svg
    assert 'class="mark" x="20%"' in svg


def test_a_wanted_range_is_a_bracket_behind_and_open_sides_have_no_hook() -> None:
    both = doubt_bar(Doubt(5, 4, 6, 3, 7), wanted=(4, 8))
    assert both.index("wanted-band") < both.index("ninety")
    assert both.count("wanted-hook") == 2
    assert 'class="wanted-band" x="40%" width="40%"' in both
    low = doubt_bar(Doubt(5, 4, 6, 3, 7), wanted=(4, None))
    assert low.count("wanted-hook") == 1
    assert 'x="40%" width="60%"' in low
    assert "wanted" not in doubt_bar(Doubt(5, 4, 6, 3, 7))


def test_a_bar_says_its_figures_and_escapes_its_label() -> None:
    svg = doubt_bar(Doubt(5, 4, 6, 3, 7), label='<b>"Body"', wanted=(None, 6))
    assert "5.0, 90 % between 3.0 and 7.0, wanted at most 6.0" in svg
    assert "<b>" not in svg


@pytest.mark.parametrize(
    "bad",
    [
        Doubt(5, 6, 4, 3, 7),
        Doubt(9, 4, 6, 3, 7),
        Doubt(5, 4, 6, 3, math.nan),
        Doubt(5, 4, 6, -math.inf, 7),
        Doubt(math.nan, 4, 6, 3, 7),
    ],
)
def test_figures_out_of_order_are_refused(bad: Doubt) -> None:
    with pytest.raises(InputError, match="interval"):
        place(bad, Axis())


@pytest.mark.parametrize("ends", [(1, 1), (2, 1), (0, math.inf), (math.nan, 1)])
def test_an_axis_needs_ends_in_order(ends: tuple[float, float]) -> None:
    with pytest.raises(InputError, match="axis"):
        Axis(*ends)


@settings(deadline=None, max_examples=200)
@given(figures, st.floats(0, 1e6), st.integers(2, 12))
def test_ticks_cover_the_values_evenly_and_are_few(low: float, span: float, about: int) -> None:
    ticks = nice_ticks(low, low + span, about)
    slack = 1e-8 * max(1.0, abs(low), span)
    assert ticks[0] <= low + slack
    assert ticks[-1] >= low + span - slack
    steps = [b - a for a, b in pairwise(ticks)]
    assert all(math.isclose(s, steps[0], rel_tol=1e-3) for s in steps)
    assert 2 <= len(ticks) <= about + 2


def test_percent_is_short_and_close() -> None:
    assert percent(0) == "0%"
    assert percent(66.66666) == "66.67%"


def test_wanted_words_name_open_sides() -> None:
    assert wanted_words((None, None)) == ""
    assert wanted_words((2, None), 0) == "at least 2"


def profile(**more: object) -> ProfileChart:
    rows = (
        ProfileRow("Sweetness", (Doubt(6, 5.5, 6.5, 5, 7), Doubt(4, 3, 5, 2, 6)), (5, 7), "same"),
        ProfileRow("<i>Body", (None, Doubt(4, 3, 5, 2, 6)), note="one was not rated"),
    )
    return ProfileChart(rows, ("A", "B"), **more)  # type: ignore[arg-type]


def test_a_profile_tells_series_apart_by_shape_and_writes_its_figures() -> None:
    html = str(profile(caption="Two batches"))
    assert SHAPES[0] in html
    assert SHAPES[1] in html
    assert "5.0–7.0" in html
    assert "&lt;i&gt;Body" in html
    assert "<i>" not in html
    assert "one was not rated" in html
    assert html.count("<tr>") == 4  # head, two attributes, scale


def test_shapes_are_all_different() -> None:
    assert len(set(SHAPES)) == len(SHAPES) == 6


def test_a_profile_refuses_rows_that_do_not_fit() -> None:
    with pytest.raises(InputError, match="2 values for 1"):
        ProfileChart((ProfileRow("Body", (None, None)),))
    with pytest.raises(InputError, match="7 series"):
        ProfileChart((), tuple("abcdefg"))


def test_an_unknown_verdict_is_an_error_and_not_a_new_word() -> None:
    with pytest.raises(InputError, match="verdict"):
        str(ProfileChart((ProfileRow("Body", (None,), verdict="fine"),)))


@settings(deadline=None, max_examples=60)
@given(
    st.lists(st.tuples(st.integers(0, 4000), st.floats(-1e3, 1e3)), min_size=1, max_size=12),
    st.floats(-1e3, 1e3),
)
def test_a_trend_keeps_all_points_on_the_picture(
    points: list[tuple[int, float]], level: float
) -> None:
    start = date(2020, 1, 1)
    made = tuple(TrendPoint(start + timedelta(d), v) for d, v in sorted(points))
    chart = TrendChart((TrendSeries("s", made),), levels=(Level(level, "target"),), height=200)
    svg = chart.picture()
    places = re.findall(r'class="mark" x="([\d.]+)%" y="([\d.]+)"', svg)
    assert len(places) == len(made)
    assert all(0 <= float(x) <= 100 and 0 <= float(y) <= 200 for x, y in places)
    xs = [float(x) for x, _ in places]
    assert xs == sorted(xs)


def test_higher_values_stand_higher() -> None:
    made = tuple(TrendPoint(date(2027, 1, d), v) for d, v in ((1, 1.0), (2, 3.0), (3, 2.0)))
    ys = [
        float(y)
        for y in re.findall(
            r'class="mark" x="[\d.]+%" y="([\d.]+)"',
            TrendChart((TrendSeries("s", made),)).picture(),
        )
    ]
    assert ys[1] < ys[2] < ys[0]


def test_a_trend_refuses_nothing_and_disorder() -> None:
    with pytest.raises(InputError, match="no points"):
        TrendChart((TrendSeries("s", ()),))
    with pytest.raises(InputError, match="order"):
        TrendSeries("s", (TrendPoint(date(2027, 2, 1), 1), TrendPoint(date(2027, 1, 1), 1)))
    with pytest.raises(InputError, match="neither"):
        str(TrendChart((TrendSeries("s", (TrendPoint(date(2027, 2, 1)),)),)))


def test_a_flagged_point_has_a_ring_and_its_reason_in_words() -> None:
    points = (TrendPoint(date(2027, 2, 1), 1.0, flag="above the tolerance"),)
    html = str(TrendChart((TrendSeries("Loss", points),)))
    assert 'class="flag"' in html
    assert "above the tolerance" in html


@settings(deadline=None, max_examples=100)
@given(st.lists(st.integers(0, 1000), min_size=1, max_size=8).filter(sum))
def test_pieces_of_a_composition_join_without_gap_and_end_at_the_edge(weights: list[int]) -> None:
    total = sum(weights)
    parts = [Part(f"c{i}", w / total, i + 1) for i, w in enumerate(weights)]
    svg = Composition(parts).picture()
    boxes = re.findall(r'component-\d" x="([\d.]+)%" width="([\d.]+)%"', svg)
    assert len(boxes) == sum(w > 0 for w in weights)
    at = 0.0
    for x, width in boxes:
        assert float(x) == pytest.approx(at, abs=0.06)
        at = float(x) + float(width)
    assert at == pytest.approx(100, abs=0.02)


def test_a_composition_shows_what_is_missing_and_refuses_too_much() -> None:
    assert 'class="missing" x="60%" width="40%"' in Composition([Part("A", 0.6, 1)]).picture()
    with pytest.raises(InputError, match="add up"):
        Composition([Part("A", 0.6, 1), Part("B", 0.5, 2)])


def test_a_composition_names_every_part_with_a_pattern_of_its_own() -> None:
    html = str(Composition([Part(f"<{i}>", 0.125, i) for i in range(1, 9)]))
    for i in range(1, 9):
        assert f"url(#pattern-{i})" in html
        assert f"&lt;{i}&gt;" in html
