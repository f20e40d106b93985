"""A roast curve as a picture: temperature with its band above, rate of rise below."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from django.template.loader import render_to_string
from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe
from numpy.typing import NDArray

from coupage.web.common.charts.marks import Picture
from coupage.web.common.drawing import Axis, nice_ticks, percent

__all__ = ["CurveChart", "CurveLine"]

Floats = NDArray[np.float64]
_WIDTH = 1000
_UPPER, _LOWER, _GAP, _FOOT = 300, 130, 26, 24
_POINTS = 300


@dataclass(frozen=True, slots=True)
class CurveLine:
    """One roast: temperature and rate of rise over seconds, NaN where nothing was logged."""

    name: str
    seconds: Floats
    temperature: Floats
    rate_of_rise: Floats


@dataclass(frozen=True, slots=True)
class CurveChart(Picture):
    """A roast beside its reference; ``outside`` are stretches beyond the band, in seconds."""

    own: CurveLine
    reference: CurveLine | None = None
    low: Floats | None = None
    high: Floats | None = None
    marks: Sequence[tuple[float, str]] = ()
    outside: Sequence[tuple[float, float]] = ()
    caption: str = ""

    def __str__(self) -> SafeString:
        return render_to_string(
            "curves/chart.html",
            {"chart": self, "picture": self.picture(), "rows": self._figures()},
        )

    def _figures(self) -> list[tuple[str, str, str, str]]:
        """Every half minute: clock, temperature, rate of rise, difference from the reference."""
        own = self.own
        rows = []
        for second in np.arange(0, own.seconds[-1] + 1, 30.0):
            degrees = float(np.interp(second, own.seconds, own.temperature))
            rise = float(np.interp(second, own.seconds, own.rate_of_rise))
            apart = np.nan
            if self.reference is not None and second <= self.reference.seconds[-1]:
                aim = np.interp(second, self.reference.seconds, self.reference.temperature)
                apart = degrees - float(aim)
            rows.append(
                (
                    f"{int(second) // 60}:{int(second) % 60:02d}",
                    _number(degrees, "{:.1f}"),
                    _number(rise, "{:.1f}"),
                    _number(apart, "{:+.1f}"),
                )
            )
        return rows

    def picture(self) -> SafeString:
        lines = [self.own] + ([self.reference] if self.reference else [])
        across = Axis(0, max(float(line.seconds[-1]) for line in lines))
        warmth = self._scale([line.temperature for line in lines])
        rises = self._scale([_settled(line) for line in lines])
        upper = _Panel(across, warmth, 8, _UPPER)
        lower = _Panel(across, rises, 8 + _UPPER + _GAP, _LOWER)
        height = 8 + _UPPER + _GAP + _LOWER + _FOOT
        drawn, words = [], []
        drawn += [upper.outside(a, b) for a, b in self.outside]
        if self.reference is not None and self.low is not None and self.high is not None:
            drawn.append(upper.ribbon(self.reference.seconds, self.low, self.high))
        if self.reference is not None:
            drawn.append(
                upper.line(self.reference.seconds, self.reference.temperature, "reference")
            )
            drawn.append(lower.line(self.reference.seconds, _settled(self.reference), "reference"))
        drawn.append(upper.line(self.own.seconds, self.own.temperature, "own"))
        drawn.append(lower.line(self.own.seconds, _settled(self.own), "own"))
        for second, name in self.marks:
            drawn.append(upper.upright(second, lower.foot))
            words.append(upper.name(second, name))
        words += upper.places("°C") + lower.places("°C a minute") + _clocks(across, height)
        grid = upper.grid() + lower.grid()
        return mark_safe(  # noqa: S308  figures and escaped names only
            f'<svg class="roast-curve" width="100%" height="{height}" aria-hidden="true">'
            f'<svg viewBox="0 0 {_WIDTH} {height}" preserveAspectRatio="none" width="100%" '
            f'height="{height}">{grid}{"".join(drawn)}</svg>{"".join(words)}</svg>'
        )

    @staticmethod
    def _scale(columns: Sequence[Floats]) -> Axis:
        values = np.concatenate(columns)
        values = values[np.isfinite(values)]
        ticks = nice_ticks(float(values.min()), float(values.max()))
        return Axis(ticks[0], ticks[-1])


@dataclass(frozen=True, slots=True)
class _Panel:
    across: Axis
    up: Axis
    top: float
    tall: float

    @property
    def foot(self) -> float:
        return self.top + self.tall

    def x(self, second: float) -> float:
        return _WIDTH / 100 * self.across.place(second)

    def y(self, value: float) -> float:
        return self.top + self.tall * (1 - self.up.place(value) / 100)

    def line(self, seconds: Floats, values: Floats, kind: str) -> str:
        """A line that breaks where nothing was logged."""
        step = max(1, seconds.size // _POINTS)
        pen, path = "M", []
        for second, value in zip(seconds[::step], values[::step], strict=True):
            if not np.isfinite(value):
                pen = "M"
                continue
            path.append(f"{pen}{self.x(float(second)):.1f} {self.y(float(value)):.1f}")
            pen = "L"
        return f'<path class="{kind}" d="{"".join(path)}" vector-effect="non-scaling-stroke"/>'

    def ribbon(self, seconds: Floats, low: Floats, high: Floats) -> str:
        step = max(1, seconds.size // _POINTS)
        there = [
            (self.x(float(s)), self.y(float(h)), self.y(float(b)))
            for s, b, h in zip(seconds[::step], low[::step], high[::step], strict=True)
            if np.isfinite(b) and np.isfinite(h)
        ]
        over = " ".join(f"{x:.1f},{top:.1f}" for x, top, _ in there)
        under = " ".join(f"{x:.1f},{foot:.1f}" for x, _, foot in reversed(there))
        return f'<polygon class="band" points="{over} {under}"/>'

    def outside(self, start: float, end: float) -> str:
        left, right = self.x(start), self.x(end)
        return (
            f'<rect class="outside" x="{left:.1f}" width="{max(1.0, right - left):.1f}" '
            f'y="{self.top}" height="{self.tall}"/>'
        )

    def upright(self, second: float, foot: float) -> str:
        x = self.x(second)
        return (
            f'<line class="upright" x1="{x:.1f}" x2="{x:.1f}" y1="{self.top}" y2="{foot}" '
            'vector-effect="non-scaling-stroke"/>'
        )

    def name(self, second: float, text: str) -> str:
        at = percent(self.across.place(second))
        return f'<text class="tick" x="{at}" y="{self.top + 12}" dx="4">{escape(text)}</text>'

    def grid(self) -> str:
        return "".join(
            f'<line class="grid" x1="0" x2="{_WIDTH}" y1="{self.y(t):.1f}" y2="{self.y(t):.1f}" '
            'vector-effect="non-scaling-stroke"/>'
            for t in nice_ticks(self.up.low, self.up.high)
        )

    def places(self, unit: str) -> list[str]:
        ticks = nice_ticks(self.up.low, self.up.high)
        names = [f"{t:g}".replace("-", "−") for t in ticks]
        names[-1] += f" {unit}"
        return [
            f'<text class="tick" x="0" y="{self.y(t) - 4:.1f}">{name}</text>'
            for t, name in zip(ticks, names, strict=True)
        ]


def _settled(line: CurveLine) -> Floats:
    """Rate of rise without the fall after charge, which would hide everything else."""
    lowest = int(np.nanargmin(line.temperature))
    rise = line.rate_of_rise.copy()
    if 0 < lowest < rise.size - 1:
        rise[:lowest] = np.nan
    return rise


def _clocks(across: Axis, height: int) -> list[str]:
    step = 60 if across.high <= 480 else 120 if across.high <= 1200 else 300
    return [
        f'<text class="tick" x="{percent(across.place(s))}" y="{height - 6}" '
        f'text-anchor="{"start" if s == 0 else "middle"}">{s // 60}:00</text>'
        for s in range(0, int(across.high) - 10, step)
    ]


def _number(value: float, form: str) -> str:
    return form.format(value).replace("-", "−") if np.isfinite(value) else "–"
