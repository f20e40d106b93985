"""One attribute against age, each age with its doubt."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from coupage.panel import Belief
from coupage.web.common.charts.marks import Picture
from coupage.web.common.drawing import Axis, mark, nice_ticks, percent

__all__ = ["AgeChart"]

_HEIGHT, _FOOT = 150, 22


@dataclass(frozen=True, slots=True)
class AgeChart(Picture):
    """Intensity over days after roasting; ``points`` are ages with their beliefs."""

    name: str
    points: tuple[tuple[float, Belief], ...]

    def __str__(self) -> SafeString:
        low = min(b.low90 for _, b in self.points)
        high = max(b.high90 for _, b in self.points)
        ticks = nice_ticks(max(0.0, low), min(10.0, high), 4)
        up = Axis(ticks[0], ticks[-1])
        last = self.points[-1][0]
        across = Axis(-0.06 * last, 1.06 * last)
        plot = _HEIGHT - _FOOT

        def y(value: float) -> float:
            return 14 + (plot - 18) * (1 - up.place(value) / 100)

        parts = [
            f'<line class="grid" x1="0%" x2="100%" y1="{y(t):.1f}" y2="{y(t):.1f}"/>'
            f'<text class="tick" x="0" y="{y(t) - 3:.1f}">{t:g}</text>'
            for t in ticks
        ]
        path = " ".join(f"{10 * across.place(age):.1f},{y(b.mean):.1f}" for age, b in self.points)
        parts.append(
            f'<svg viewBox="0 0 1000 {_HEIGHT}" preserveAspectRatio="none" width="100%" '
            f'height="{_HEIGHT}"><polyline class="joined series-1" points="{path}" '
            'vector-effect="non-scaling-stroke"/></svg>'
        )
        for age, b in self.points:
            x = percent(across.place(age))
            parts.append(
                f'<g class="series series-1">'
                f'<line class="ninety" x1="{x}" x2="{x}" y1="{y(b.high90):.1f}" '
                f'y2="{y(b.low90):.1f}"/>'
                f'<line class="fifty" x1="{x}" x2="{x}" y1="{y(b.high50):.1f}" '
                f'y2="{y(b.low50):.1f}"/>'
                f'<svg class="mark" x="{x}" y="{y(b.mean):.1f}" overflow="visible">{mark(0)}'
                f'</svg></g><text class="tick" x="{x}" y="{_HEIGHT - 6}" text-anchor="middle">'
                f"{age:.0f}</text>"
            )
        said = ", ".join(
            f"day {age:.0f}: {b.mean:.1f} (90 % {b.low90:.1f} to {b.high90:.1f})"
            for age, b in self.points
        )
        return mark_safe(  # noqa: S308  figures and escaped names only
            f'<svg class="trend" width="100%" height="{_HEIGHT}" role="img" '
            f'aria-label="{escape(self.name)} by days after roasting: {said}">'
            f"{''.join(parts)}</svg>"
        )
