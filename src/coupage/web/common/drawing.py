"""Estimates drawn with their doubt: a dot, a thick 50 % bar, a thin 90 % bar, a bracket behind.

Geometry is worked out here and nowhere else. Across, everything is placed in per cent of the
drawing's width, so that one drawing fits a phone, a laptop and a sheet of paper without its text
or its dots changing size; down, everything is in CSS pixels. Colour comes from classes in
``components.css``; the policy against inline styles allows SVG attributes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Protocol

from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from coupage.errors import InputError

__all__ = [
    "SHAPES",
    "Axis",
    "Doubt",
    "Interval",
    "PlacedInterval",
    "Wanted",
    "doubt_bar",
    "doubt_lane",
    "figure",
    "mark",
    "nice_ticks",
    "percent",
    "place",
    "spanned",
    "wanted_words",
]

# The range a brief asks for; None leaves that side open.
Wanted = tuple[float | None, float | None]


class Interval(Protocol):
    """A mean with its 50 % and 90 % intervals, such as ``coupage.panel.Belief``."""

    @property
    def mean(self) -> float: ...
    @property
    def low50(self) -> float: ...
    @property
    def high50(self) -> float: ...
    @property
    def low90(self) -> float: ...
    @property
    def high90(self) -> float: ...


@dataclass(frozen=True, slots=True)
class Doubt:
    """An interval of an app's own, where no room's result is at hand."""

    mean: float
    low50: float
    high50: float
    low90: float
    high90: float


@dataclass(frozen=True, slots=True)
class Axis:
    """A scale from ``low`` at the left edge to ``high`` at the right edge.

    Raises
    ------
    InputError
        When the ends are not finite or not in order.
    """

    low: float = 0.0
    high: float = 10.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.low) and math.isfinite(self.high) and self.low < self.high):
            raise InputError(
                f"axis: low {self.low} and high {self.high} must be finite, low below high"
            )

    def place(self, value: float) -> float:
        """Return where a value stands, in per cent of the width, held inside 0 to 100.

        Examples
        --------
        >>> Axis(0, 10).place(2.5), Axis(0, 10).place(12)
        (25.0, 100.0)
        """
        return 100 * min(1.0, max(0.0, (value - self.low) / (self.high - self.low)))


@dataclass(frozen=True, slots=True)
class PlacedInterval:
    """An interval on an axis, every figure in per cent of the width."""

    dot: float
    left50: float
    right50: float
    left90: float
    right90: float


def place(interval: Interval, axis: Axis) -> PlacedInterval:
    """Place an interval on an axis.

    Raises
    ------
    InputError
        When the figures are not finite or not in the order low90, low50, high50, high90 with the
        mean between the outer two.
    """
    i = interval
    figures = (i.low90, i.low50, i.high50, i.high90)
    ordered = all(a <= b for a, b in pairwise(figures))
    if not (ordered and i.low90 <= i.mean <= i.high90 and all(map(math.isfinite, figures))):
        raise InputError(
            f"interval: low90 {i.low90}, low50 {i.low50}, mean {i.mean}, high50 {i.high50}, "
            f"high90 {i.high90} must be finite and in this order"
        )
    return PlacedInterval(
        dot=axis.place(i.mean),
        left50=axis.place(i.low50),
        right50=axis.place(i.high50),
        left90=axis.place(i.low90),
        right90=axis.place(i.high90),
    )


def percent(value: float) -> str:
    """Write a place for an SVG attribute: two digits are finer than any screen.

    Examples
    --------
    >>> percent(33.333333), percent(50.0)
    ('33.33%', '50%')
    """
    return f"{value:.2f}".rstrip("0").rstrip(".") + "%"


# One mark per series, told apart without colour; drawn around the origin, about 10 px across.
SHAPES: tuple[str, ...] = (
    '<circle r="5"/>',
    '<path d="M-4.5-4.5h9v9h-9z"/>',
    '<path d="M0-5.8 5.6 4.3h-11.2z"/>',
    '<path d="M0-6.2 6.2 0 0 6.2-6.2 0z"/>',
    '<path d="M0 5.8 5.6-4.3h-11.2z"/>',
    '<path d="M-1.8-5.5h3.6v3.7h3.7v3.6h-3.7v3.7h-3.6v-3.7h-3.7v-3.6h3.7z"/>',
)


def mark(series: int) -> str:
    """Return the drawing of a series' mark, around the origin; after six the marks come again."""
    return SHAPES[series % len(SHAPES)]


def doubt_lane(interval: Interval, axis: Axis, y: float, series: int = 0) -> str:
    """Draw one interval along ``y``: thin 90 %, thick 50 %, its series' mark on the mean."""
    p = place(interval, axis)
    tone = f"series series-{series % len(SHAPES) + 1}"
    return (
        f'<g class="{tone}">'
        f'<line class="ninety" x1="{percent(p.left90)}" x2="{percent(p.right90)}" '
        f'y1="{y:g}" y2="{y:g}"/>'
        f'<line class="fifty" x1="{percent(p.left50)}" x2="{percent(p.right50)}" '
        f'y1="{y:g}" y2="{y:g}"/>'
        f'<svg class="mark" x="{percent(p.dot)}" y="{y:g}" overflow="visible">{mark(series)}</svg>'
        "</g>"
    )


def bracket(wanted: Wanted, axis: Axis, height: float) -> str:
    """Draw a wanted range behind an estimate; an open side runs to the edge without its hook."""
    low, high = wanted
    if low is None and high is None:
        return ""
    if low is not None and high is not None and low > high:
        raise InputError(f"wanted: from {low} to {high} is empty; put the lower figure first")
    left = 0.0 if low is None else axis.place(low)
    right = 100.0 if high is None else axis.place(high)
    top, foot = 1.5, height - 1.5
    band = (
        f'x="{percent(left)}" width="{percent(right - left)}" y="{top:g}" height="{foot - top:g}"'
    )
    parts = [f'<rect class="wanted-band" {band}/>']
    for at, hook, closed in ((left, 5, low is not None), (right, -5, high is not None)):
        if closed:
            parts.append(
                f'<svg x="{percent(at)}" overflow="visible">'
                f'<path class="wanted-hook" d="M{hook} {top:g}H0V{foot:g}H{hook}"/></svg>'
            )
    return f'<g class="wanted">{"".join(parts)}</g>'


def wanted_words(wanted: Wanted, places: int = 1) -> str:
    """Say a wanted range in words.

    Examples
    --------
    >>> wanted_words((6, 8)), wanted_words((None, 3.5)), wanted_words((5, None))
    ('6.0 to 8.0', 'at most 3.5', 'at least 5.0')
    """
    low, high = wanted
    if low is None and high is None:
        return ""
    if low is None:
        return f"at most {high:.{places}f}"
    if high is None:
        return f"at least {low:.{places}f}"
    return f"{low:.{places}f} to {high:.{places}f}"


def doubt_bar(
    interval: Interval,
    axis: Axis | None = None,
    *,
    wanted: Wanted = (None, None),
    label: str = "",
    places: int = 1,
) -> SafeString:
    """Draw one estimate on its own, with its figures as the drawing's spoken name."""
    axis = axis or Axis()
    height = 24
    said = (
        f"{label + ': ' if label else ''}{interval.mean:.{places}f}, "
        f"90 % between {interval.low90:.{places}f} and {interval.high90:.{places}f}"
    )
    if words := wanted_words(wanted, places):
        said += f", wanted {words}"
    return format_html(
        '<svg class="doubt" width="100%" height="{}" role="img" aria-label="{}">{}</svg>',
        height,
        said,
        mark_safe(  # noqa: S308  figures only
            f'<line class="axis" x1="0%" x2="100%" y1="{height / 2:g}" y2="{height / 2:g}"/>'
            + bracket(wanted, axis, height)
            + doubt_lane(interval, axis, height / 2)
        ),
    )


def nice_ticks(low: float, high: float, about: int = 5) -> tuple[float, ...]:
    """Return round values that cover ``low`` to ``high``, in steps of 1, 2, 2.5 or 5 (times 10^n).

    Examples
    --------
    >>> nice_ticks(13.4, 16.8)
    (13.0, 14.0, 15.0, 16.0, 17.0)
    >>> nice_ticks(0, 10)
    (0.0, 2.5, 5.0, 7.5, 10.0)
    """
    if not (math.isfinite(low) and math.isfinite(high) and low <= high):
        raise InputError(f"ticks: low {low} and high {high} must be finite, low not above high")
    size = max(1.0, abs(low), abs(high))
    if high - low <= 1e-9 * size:  # as good as one value: give it room to stand in
        low, high = low - 0.5 * size, high + 0.5 * size
    rough = (high - low) / max(1, about - 1)
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(m * power for m in (1, 2, 2.5, 5, 10) if m * power >= rough * (1 - 1e-9))
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return tuple(round(i * step, 12) + 0.0 for i in range(first, last + 1))


def figure(value: float, places: int | None = None) -> str:
    """Write a number with a true minus sign, and never as minus nothing.

    Examples
    --------
    >>> figure(-0.25, 1), figure(-0.04, 1), figure(2.0)
    ('−0.2', '0.0', '2')
    """
    text = f"{value:g}" if places is None else f"{value:.{places}f}"
    if not text.strip("-0."):
        text = text.lstrip("-")
    return text.replace("-", "−")


def spanned(low: float, high: float, places: int) -> str:
    """Write a range; "to" where a dash could be taken for a minus sign.

    Examples
    --------
    >>> spanned(0.5, 1.25, 1), spanned(-0.5, -0.25, 2)
    ('0.5–1.2', '−0.50 to −0.25')
    """
    ends = figure(low, places), figure(high, places)
    return (" to " if any("−" in end for end in ends) else "–").join(ends)


def axis_text(axis: Axis, ticks: Sequence[float]) -> SafeString:
    """Draw the figures below a column of bars, which keeps room for half a figure each side."""
    parts = []
    for tick in ticks:
        at = axis.place(tick)
        parts.append(f'<text x="{percent(at)}" y="14" text-anchor="middle">{figure(tick)}</text>')
    return mark_safe(  # noqa: S308  figures only
        '<svg class="axis-text" width="100%" height="18" aria-hidden="true">'
        + "".join(parts)
        + "</svg>"
    )
