"""The plan on the triangle: three coffees at the corners, limits as lines, blends as points."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np
import numpy.typing as npt
from django.utils.safestring import SafeString, mark_safe

from coupage.mixture import Region
from coupage.web.common.charts.composition import swatch

__all__ = ["Dot", "LimitLine", "Triangle", "limit_lines"]

Floats = npt.NDArray[np.float64]
_WIDTH, _HEIGHT = 520.0, 480.0
_SIDE, _LEFT, _TOP = 420.0, 50.0, 40.0
_TALL = _SIDE * np.sqrt(3) / 2
# Corners on the page: the first coffee on top, the second left below, the third right below.
_CORNERS = np.array(
    [[_LEFT + _SIDE / 2, _TOP], [_LEFT, _TOP + _TALL], [_LEFT + _SIDE, _TOP + _TALL]]
)
_NEAR = 1e-9


@dataclass(frozen=True, slots=True)
class Dot:
    """A blend: its shares, the numbers of the samples that are of it, and where it is listed."""

    shares: tuple[float, float, float]
    numbers: tuple[int, ...]
    href: str
    reference: bool = False

    @property
    def label(self) -> str:
        return ", ".join(map(str, self.numbers))


@dataclass(frozen=True, slots=True)
class LimitLine:
    """Where a limit is just kept: its ends as shares, and what it says."""

    ends: tuple[Floats, Floats]
    text: str


@dataclass(frozen=True, slots=True)
class Triangle:
    """The picture and its legend, written as HTML by ``str()``."""

    names: tuple[str, str, str]
    region: Region
    dots: Sequence[Dot]
    before: Sequence[tuple[float, float, float]] = ()

    def __html__(self) -> str:
        return str(self)

    def __str__(self) -> SafeString:
        lines = limit_lines(self.region)
        legend = "".join(
            f"<li>{swatch(i)}{escape(name)} {where}</li>"
            for i, (name, where) in enumerate(
                zip(self.names, ("at the top", "left", "right"), strict=True), 1
            )
        )
        keys = "".join(
            f'<li><svg width="26" height="14" aria-hidden="true"><line class="limit" x1="2" y1="7" '
            f'x2="24" y2="7"/></svg>{letter}: {escape(line.text)}</li>'
            for letter, line in zip("abcdefghijklmnop", lines, strict=False)
        )
        return mark_safe(  # noqa: S308  figures, and names that are escaped
            '<figure class="chart trial-triangle"><figcaption>The blends, each corner a straight '
            f'coffee</figcaption>{self.picture(lines)}<ul class="legend">{legend}{keys}</ul>'
            f'<p class="key">{self._key()}</p></figure>'
        )

    def _key(self) -> str:
        said = ["Numbered: a sample to cup. Two numbers: one blend under two codes."]
        if any(dot.reference for dot in self.dots):
            said.append("Square: the reference.")
        if self.before:
            said.append("Small ring: cupped already.")
        return " ".join(said)

    def picture(self, lines: Sequence[LimitLine]) -> str:
        said = "; ".join(
            f"sample {dot.label}: "
            + ", ".join(
                f"{100 * share:g} % {name}"
                for name, share in zip(self.names, dot.shares, strict=True)
                if share > _NEAR
            )
            for dot in self.dots
        )
        return (
            f'<svg viewBox="0 0 {_WIDTH:g} {_HEIGHT:g}" role="group" '
            f'aria-label="{escape(said)}">'
            f"{self._ground()}{self._allowed()}{_limits(lines)}{self._corners()}"
            f"{''.join(map(_ring, self.before))}{''.join(map(_dot, self.dots))}</svg>"
        )

    def _ground(self) -> str:
        marks = [f'<polygon class="ground" points="{_points(np.eye(3))}"/>']
        for share in (0.2, 0.4, 0.6, 0.8):
            for i in range(3):
                ends = np.zeros((2, 3))
                ends[:, i] = share
                ends[0, (i + 1) % 3] = ends[1, (i + 2) % 3] = 1 - share
                (x1, y1), (x2, y2) = _place(ends)
                marks.append(
                    f'<line class="grid" x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"/>'
                )
        return "".join(marks)

    def _allowed(self) -> str:
        """Draw each convex piece of the region: an area, a line or a point."""
        drawn = []
        for piece in self.region.pieces():
            corners = _around(piece.vertices())
            kind = "polygon" if len(corners) > 2 else "polyline"
            drawn.append(f'<{kind} class="allowed" points="{_points(corners)}"/>')
        return "".join(drawn)

    def _corners(self) -> str:
        boxes = []
        for i, (x, y) in enumerate(_CORNERS):
            at = (x - 8, y - 34) if i == 0 else (x - 8, y + 12)
            boxes.append(
                f'<rect class="component-{i + 1}" x="{at[0]:.1f}" y="{at[1]:.1f}" width="16" '
                f'height="16"/><rect class="component-edge" fill="url(#pattern-{i + 1})" '
                f'x="{at[0]:.1f}" y="{at[1]:.1f}" width="16" height="16"/>'
            )
        return "".join(boxes)


def limit_lines(region: Region) -> list[LimitLine]:
    """Where each limit of three coffees cuts the triangle; those that cut nothing are left out."""
    rows: list[tuple[Floats, float, str]] = []
    for i, name in enumerate(region.names):
        if region.lower[i] > 0:
            rows.append(
                (np.eye(3)[i], region.lower[i], f"at least {100 * region.lower[i]:g} % {name}")
            )
        if region.upper[i] < 1:
            rows.append(
                (np.eye(3)[i], region.upper[i], f"at most {100 * region.upper[i]:g} % {name}")
            )
    for group in region.groups:
        row = np.array([group.coefficients.get(name, 0.0) for name in region.names])
        for word, end in (("at least", group.lower), ("at most", group.upper)):
            if np.isfinite(end):
                rows.append((row, end, f"{group.name} {word} {100 * end:g} %"))
    lines = []
    for row, end, text in rows:
        crossed = _crossings(row, end)
        if len(crossed) == 2:
            lines.append(LimitLine((crossed[0], crossed[1]), text))
    return lines


def _crossings(row: Floats, end: float) -> list[Floats]:
    """Points of the triangle's edges where ``row . x = end``, each once."""
    found: list[Floats] = []
    for i, j in ((0, 1), (1, 2), (0, 2)):
        rise = row[i] - row[j]
        if abs(rise) < _NEAR:
            continue
        share = (end - row[j]) / rise
        if -_NEAR <= share <= 1 + _NEAR:
            point = np.zeros(3)
            point[i], point[j] = share, 1 - share
            if all(np.abs(point - other).max() > 1e-6 for other in found):
                found.append(point)
    return found


def _place(shares: npt.ArrayLike) -> Floats:
    return np.asarray(np.asarray(shares, dtype=float) @ _CORNERS)


def _points(shares: npt.ArrayLike) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in _place(shares))


def _around(vertices: Floats) -> Floats:
    """Order the corners of a convex piece around its middle."""
    at = _place(vertices) - _place(vertices).mean(axis=0)
    return vertices[np.argsort(np.arctan2(at[:, 1], at[:, 0]))]


def _limits(lines: Sequence[LimitLine]) -> str:
    drawn = []
    for letter, line in zip("abcdefghijklmnop", lines, strict=False):
        (x1, y1), (x2, y2) = _place(line.ends)
        away = np.array([x1 - x2, y1 - y2])
        tx, ty = np.array([x1, y1]) + away / max(1.0, float(np.hypot(*away))) * 14
        drawn.append(
            f'<line class="limit" x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"/>'
            f'<text class="limit-name" x="{tx:.1f}" y="{ty + 4:.1f}">{letter}</text>'
        )
    return "".join(drawn)


def _ring(shares: tuple[float, float, float]) -> str:
    x, y = _place(shares)
    return f'<circle class="before" cx="{x:.1f}" cy="{y:.1f}" r="5"/>'


def _dot(dot: Dot) -> str:
    x, y = _place(dot.shares)
    wide = 12 + 5 * max(0, len(dot.label) - 2)
    shape = (
        f'<rect class="dot" x="{x - wide:.1f}" y="{y - 12:.1f}" width="{2 * wide:g}" height="24" '
        f'rx="{2 if dot.reference else 12}"/>'
    )
    return (
        f'<a href="{escape(dot.href)}" aria-label="sample {dot.label}">{shape}'
        f'<text class="dot-name" x="{x:.1f}" y="{y + 4.5:.1f}">{dot.label}</text></a>'
    )
