"""Figures over time with their doubt, a wanted range behind, and level lines."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise

from django.template.loader import render_to_string
from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from coupage.errors import InputError
from coupage.web.common.charts.marks import Picture, marks
from coupage.web.common.drawing import (
    Axis,
    Interval,
    Wanted,
    mark,
    nice_ticks,
    percent,
    place,
    spanned,
    wanted_words,
)

__all__ = ["Level", "TrendChart", "TrendPoint", "TrendSeries"]

# Turns a value into pixels from the top.
_Down = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class TrendPoint:
    """One figure at one day; give ``interval`` or ``value``. ``flag`` names why it stands out."""

    at: date
    value: float | None = None
    interval: Interval | None = None
    flag: str = ""
    label: str = ""

    @property
    def middle(self) -> float:
        if self.interval is not None:
            return self.interval.mean
        if self.value is None:
            raise InputError(f"trend: the point at {self.at} has neither value nor interval")
        return self.value


@dataclass(frozen=True, slots=True)
class TrendSeries:
    """Points in order of time, joined by a line."""

    name: str
    points: tuple[TrendPoint, ...]

    def __post_init__(self) -> None:
        if any(a.at > b.at for a, b in pairwise(self.points)):
            raise InputError(f"trend: the points of {self.name!r} are not in order of time")


@dataclass(frozen=True, slots=True)
class Level:
    """A level line across a trend: a centre or a limit."""

    value: float
    label: str
    kind: str = "limit"


@dataclass(frozen=True, slots=True)
class TrendChart(Picture):
    """Figures over time with their doubt, a wanted range behind, and level lines."""

    series: Sequence[TrendSeries]
    caption: str = ""
    unit: str = ""
    wanted: Wanted = (None, None)
    levels: Sequence[Level] = ()
    places: int = 1
    height: int = 220

    def __post_init__(self) -> None:
        if not any(s.points for s in self.series):
            raise InputError("trend: no points; show an empty state instead of an empty chart")

    def __str__(self) -> SafeString:
        return render_to_string(
            "coupage/charts/trend.html",
            {
                "chart": self,
                "picture": self.picture(),
                "legend": marks([s.name for s in self.series]) if len(self.series) > 1 else (),
                "rows": [
                    (s.name, p, f"{p.middle:.{self.places}f}", self._doubt(p))
                    for s in self.series
                    for p in s.points
                ],
                "flags": any(p.flag for s in self.series for p in s.points),
                "doubts": any(p.interval for s in self.series for p in s.points),
                "wanted": wanted_words(self.wanted, self.places),
            },
        )

    def _doubt(self, point: TrendPoint) -> str:
        i = point.interval
        return spanned(i.low90, i.high90, self.places) if i else ""

    def scales(self) -> tuple[Axis, Axis]:
        """Return the scale of time (ordinal days, with room at the sides) and the scale up."""
        points = [p for s in self.series for p in s.points]
        days = [_day(p.at) for p in points]
        values = [p.middle for p in points] + [level.value for level in self.levels]
        values += [v for v in self.wanted if v is not None]
        for p in points:
            if p.interval is not None:
                values += [p.interval.low90, p.interval.high90]
        ticks = nice_ticks(min(values), max(values))
        span = max(1.0, max(days) - min(days))
        # The figures of the scale stand at the left edge, the names of the levels at the right.
        right = 0.16 if self.levels else 0.04
        return Axis(min(days) - 0.08 * span, max(days) + right * span), Axis(ticks[0], ticks[-1])

    def picture(self) -> SafeString:
        """Draw the chart alone."""
        across, up = self.scales()
        plot = self.height - 30

        def y(value: float) -> float:
            return 8 + (plot - 8) * (1 - up.place(value) / 100)

        parts = [self._ground(up, y)]
        for i, series in enumerate(self.series):
            parts.append(_joined(series, across, y, i, self.height))
            parts.extend(_point(p, across, y, i) for p in series.points)
        parts.append(self._dates(across))
        places = "".join(
            f'<text class="tick" x="0" y="{y(t) - 4:.1f}">{t:g}'
            f"{' ' + escape(self.unit) if t == up.high and self.unit else ''}</text>"
            for t in nice_ticks(up.low, up.high)
        )
        return mark_safe(  # noqa: S308  figures and escaped names only
            f'<svg class="trend" width="100%" height="{self.height}" aria-hidden="true">'
            f"{''.join(parts)}{places}</svg>"
        )

    def _ground(self, up: Axis, y: _Down) -> str:
        parts = [
            f'<line class="grid" x1="0%" x2="100%" y1="{y(t):.1f}" y2="{y(t):.1f}"/>'
            for t in nice_ticks(up.low, up.high)
        ]
        low, high = self.wanted
        if low is not None or high is not None:
            top = y(up.high if high is None else high)
            foot = y(up.low if low is None else low)
            parts.append(
                f'<rect class="wanted-band" x="0%" width="100%" y="{top:.1f}" '
                f'height="{max(0.0, foot - top):.1f}"/>'
            )
        for level in self.levels:
            at = y(level.value)
            kind = "center" if level.kind == "center" else "limit"
            parts.append(
                f'<line class="level {kind}" x1="0%" x2="100%" y1="{at:.1f}" y2="{at:.1f}"/>'
                f'<text class="level-name" x="100%" y="{at - 4:.1f}" text-anchor="end">'
                f"{escape(level.label)}</text>"
            )
        return "".join(parts)

    def _dates(self, across: Axis) -> str:
        days = sorted({p.at for s in self.series for p in s.points}, key=_day)
        shown = days if len(days) <= 2 else (days[0], days[len(days) // 2], days[-1])
        anchors = ("start", "middle", "end") if len(shown) == 3 else ("start", "end")
        # The first and last text stay inside the drawing whatever their length.
        return "".join(
            f'<text class="tick" x="{percent(across.place(_day(d)))}" y="{self.height - 8}" '
            f'text-anchor="{a}">{d.day} {d:%b}</text>'
            for d, a in zip(shown, anchors, strict=False)
        )


def _joined(series: TrendSeries, across: Axis, y: _Down, i: int, height: int) -> str:
    # Lines between points need plain numbers: a stretched inner drawing of 1000 units across.
    points = " ".join(
        f"{10 * across.place(_day(p.at)):.2f},{y(p.middle):.1f}" for p in series.points
    )
    return (
        f'<svg viewBox="0 0 1000 {height}" preserveAspectRatio="none" width="100%" '
        f'height="{height}"><polyline class="joined series-{i + 1}" points="{points}" '
        'vector-effect="non-scaling-stroke"/></svg>'
    )


def _point(point: TrendPoint, across: Axis, y: _Down, i: int) -> str:
    x, at = percent(across.place(_day(point.at))), y(point.middle)
    doubt = ""
    if point.interval is not None:
        place(point.interval, Axis(-1e12, 1e12))  # same checks as a bar lying down
        n = point.interval
        doubt = (
            f'<line class="ninety" x1="{x}" x2="{x}" y1="{y(n.high90):.1f}" y2="{y(n.low90):.1f}"/>'
            f'<line class="fifty" x1="{x}" x2="{x}" y1="{y(n.high50):.1f}" y2="{y(n.low50):.1f}"/>'
        )
    ring = f'<circle class="flag" cx="{x}" cy="{at:.1f}" r="10"/>' if point.flag else ""
    return (
        f'<g class="series series-{i + 1}">{ring}{doubt}'
        f'<svg class="mark" x="{x}" y="{at:.1f}" overflow="visible">{mark(i)}</svg></g>'
    )


def _day(at: date) -> float:
    if isinstance(at, datetime):
        return at.toordinal() + (at.hour * 60 + at.minute) / 1440
    return float(at.toordinal())
