"""The day as a picture: one lane for each machine, one block for each batch, minutes across."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from django.template.loader import render_to_string
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from coupage.web.common.drawing import Axis, percent

__all__ = ["Block", "Lane", "Timeline"]

_HEIGHT = 44
_TOP = 20


@dataclass(frozen=True, slots=True)
class Block:
    """One batch in time; ``number`` is what the table calls it."""

    number: int
    slot: int
    start: float
    end: float
    said: str
    done: bool = False
    pinned: bool = False


@dataclass(frozen=True, slots=True)
class Lane:
    name: str
    blocks: tuple[Block, ...]
    busy: str


@dataclass(frozen=True, slots=True)
class Timeline:
    """Lanes under a common clock, with the end of the day marked."""

    lanes: Sequence[Lane]
    starts_at: dt.time
    ends: float  # minutes of roasting in the day

    def __str__(self) -> SafeString:
        axis = self.axis()
        lanes = [(lane, self.picture(lane, axis)) for lane in self.lanes]
        return render_to_string("roastdays/timeline.html", {"lanes": lanes, "hours": self.hours()})

    def axis(self) -> Axis:
        """As far as the last batch and a little on; to the end of the day where that is near."""
        last = max((b.end for lane in self.lanes for b in lane.blocks), default=0.0)
        return Axis(0.0, max(last, min(self.ends, max(1.3 * last, last + 60.0))))

    def hours(self) -> SafeString:
        """Clock times above the lanes: each hour, or each second one where the day is long."""
        axis = self.axis()
        every = 30 if axis.high <= 180 else 60 if axis.high <= 10 * 60 else 120
        first = self.starts_at.hour * 60 + self.starts_at.minute
        ticks, odd = [], ' class="lane-odd"'
        clock = -(-first // every) * every
        begins = clock
        while clock - first <= axis.high:
            at = percent(axis.place(clock - first))
            last = clock - first > 0.97 * axis.high
            anchor = "start" if clock == first else "end" if last else "middle"
            ticks.append(
                f'<text x="{at}" y="13" text-anchor="{anchor}"'
                f"{odd if (clock - begins) // every % 2 else ''}>"
                f"{clock // 60 % 24}:{clock % 60:02d}</text>"
            )
            clock += every
        return mark_safe(  # noqa: S308  figures only
            f'<svg class="axis-text lane-hours" width="100%" height="18" aria-hidden="true">'
            f"{''.join(ticks)}</svg>"
        )

    def picture(self, lane: Lane, axis: Axis) -> SafeString:
        """Draw one lane."""
        end = percent(axis.place(self.ends))
        pieces = [f'<rect class="lane-day" x="0" y="0" width="{end}" height="{_HEIGHT}"/>']
        for block in lane.blocks:
            left, right = axis.place(block.start), axis.place(block.end)
            number = (block.slot - 1) % 8 + 1
            box = f'x="{percent(left)}" y="4" width="{percent(max(right - left - 0.15, 0.2))}"'
            height = _HEIGHT - 8
            state = " lane-done" if block.done else ""
            pieces.append(
                f'<g class="lane-block{state}">'
                + format_html("<title>{}</title>", block.said)
                + f'<rect class="component-{number}" {box} height="{height}"/>'
                + f'<rect class="component-edge" fill="url(#pattern-{number})" {box} '
                f'height="{height}"/>'
                + f'<rect class="lane-plate" x="{percent(left)}" y="13" width="20" height="18" '
                'rx="3" transform="translate(3 0)"/>'
                + f'<text class="lane-number" x="{percent(left)}" y="26.5" '
                f'transform="translate(13 0)" text-anchor="middle">{block.number}</text></g>'
            )
        if self.ends <= axis.high:
            pieces.append(f'<line class="lane-end" x1="{end}" x2="{end}" y1="0" y2="{_HEIGHT}"/>')
        return mark_safe(  # noqa: S308  our own figures; names are escaped above
            f'<svg class="lane" width="100%" height="{_HEIGHT}" role="img" '
            + format_html('aria-label="{}">', f"{lane.name}: {len(lane.blocks)} batches")
            + "".join(pieces)
            + "</svg>"
        )
