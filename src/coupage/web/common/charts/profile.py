"""Attributes down, intensity across, each estimate with its doubt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.template.loader import render_to_string
from django.utils.safestring import SafeString, mark_safe

from coupage.errors import InputError
from coupage.web.common.charts.marks import Picture, marks
from coupage.web.common.drawing import (
    SHAPES,
    Axis,
    Interval,
    Wanted,
    axis_text,
    bracket,
    doubt_lane,
    figure,
    nice_ticks,
    percent,
    spanned,
    wanted_words,
)

__all__ = ["ProfileChart", "ProfileRow"]

_LANE, _PAD = 18, 6


@dataclass(frozen=True, slots=True)
class ProfileRow:
    """One attribute: its estimates in the order of the chart's series, None where there is none.

    ``verdict`` is one of the verdict words and ``note`` a short text beside it.
    """

    label: str
    values: tuple[Interval | None, ...]
    wanted: Wanted = (None, None)
    verdict: str = ""
    note: str = ""
    href: str = ""


@dataclass(frozen=True, slots=True)
class ProfileChart(Picture):
    """Attributes down, intensity across, each estimate with its doubt.

    Raises
    ------
    InputError
        When a row has not exactly one value (or None) per series, or there are more series than
        marks to tell them apart.
    """

    rows: Sequence[ProfileRow]
    series: Sequence[str] = ("estimate",)
    caption: str = ""
    low: float = 0.0
    high: float = 10.0
    places: int = 1

    def __post_init__(self) -> None:
        if not 1 <= len(self.series) <= len(SHAPES):
            raise InputError(
                f"profile: {len(self.series)} series; marks tell 1 to {len(SHAPES)} apart"
            )
        for row in self.rows:
            if len(row.values) != len(self.series):
                raise InputError(
                    f"profile: row {row.label!r} has {len(row.values)} values for "
                    f"{len(self.series)} series; give one each, None where there is none"
                )

    def __str__(self) -> SafeString:
        axis = Axis(self.low, self.high)
        ticks = [t for t in nice_ticks(self.low, self.high, 6) if self.low <= t <= self.high]
        return render_to_string(
            "coupage/charts/profile.html",
            {
                "chart": self,
                "legend": marks(self.series) if len(self.series) > 1 else (),
                "rows": [self._row(row, axis, ticks) for row in self.rows],
                "axis": axis_text(axis, ticks),
                "wants": any(row.wanted != (None, None) for row in self.rows),
                "verdicts": any(row.verdict or row.note for row in self.rows),
            },
        )

    def _row(self, row: ProfileRow, axis: Axis, ticks: Sequence[float]) -> dict[str, object]:
        height = _PAD * 2 + _LANE * (len(self.series) - 1) + 12
        grid = "".join(
            f'<line class="grid" x1="{percent(axis.place(t))}" x2="{percent(axis.place(t))}" '
            f'y1="0" y2="{height}"/>'
            for t in ticks
        )
        lanes = "".join(
            doubt_lane(value, axis, height / 2 + _LANE * (i - (len(self.series) - 1) / 2), i)
            for i, value in enumerate(row.values)
            if value is not None
        )
        picture = (
            f'<svg class="doubt" width="100%" height="{height}" aria-hidden="true">'
            f"{grid}{bracket(row.wanted, axis, height)}{lanes}</svg>"
        )
        return {
            "row": row,
            "picture": mark_safe(picture),  # noqa: S308  figures only
            "wanted": wanted_words(row.wanted, self.places),
            "figures": [
                (name, self._figures(value))
                for name, value in zip(self.series, row.values, strict=True)
            ],
        }

    def _figures(self, value: Interval | None) -> tuple[str, str]:
        if value is None:
            return ("–", "")
        d = self.places
        return figure(value.mean, d), spanned(value.low90, value.high90, d)
