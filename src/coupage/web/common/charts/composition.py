"""Shares of a whole as one bar, each with pattern, name and figure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.template.loader import render_to_string
from django.utils.safestring import SafeString, mark_safe

from coupage.errors import InputError
from coupage.web.common.charts.marks import Picture
from coupage.web.common.drawing import percent

__all__ = ["COMPONENT_SLOTS", "Composition", "Part", "swatch"]

COMPONENT_SLOTS = 8


@dataclass(frozen=True, slots=True)
class Part:
    """One component of a composition.

    ``slot`` chooses colour and pattern (1 to 8, coming again after that); give a coffee the same
    slot everywhere on a page.
    """

    name: str
    share: float
    slot: int
    detail: str = ""
    href: str = ""


@dataclass(frozen=True, slots=True)
class Composition(Picture):
    """Shares of a whole as one bar, each with pattern, name and figure.

    Raises
    ------
    InputError
        When a share is outside 0 to 1 or the shares add up to more than 1.
    """

    parts: Sequence[Part]
    label: str = "Composition"
    legend: bool = True

    def __post_init__(self) -> None:
        total = sum(part.share for part in self.parts)
        if any(not 0 <= part.share <= 1 for part in self.parts) or total > 1 + 1e-6:
            raise InputError(
                f"composition: shares {[round(p.share, 4) for p in self.parts]} must each be from "
                f"0 to 1 and add up to at most 1; they add up to {total:.4f}"
            )

    def __str__(self) -> SafeString:
        return render_to_string(
            "coupage/charts/composition.html",
            {
                "composition": self,
                "picture": self.picture(),
                "parts": [
                    (part, swatch(part.slot), _share(part.share))
                    for part in self.parts
                    if part.share > 0
                ],
                "said": ", ".join(f"{p.name} {_share(p.share)}" for p in self.parts if p.share > 0),
            },
        )

    def picture(self) -> SafeString:
        """Draw the bar alone: figures above the pieces that have room for one."""
        pieces, figures, left = [], [], 0.0
        for part in self.parts:
            if part.share <= 0:
                continue
            at, width = percent(100 * left), percent(100 * part.share)
            pieces.append(_filled(part.slot, f'x="{at}" width="{width}" y="18" height="22"'))
            if part.share >= 0.1:
                figures.append(f'<text x="{at}" y="12">{_share(part.share)}</text>')
            left += part.share
        missing = ""
        if left < 1 - 1e-6:
            missing = (
                f'<rect class="missing" x="{percent(100 * left)}" '
                f'width="{percent(100 * (1 - left))}" y="18" height="22"/>'
            )
        return mark_safe(  # noqa: S308  figures only
            '<svg class="composition-bar" width="100%" height="42" aria-hidden="true">'
            f"{''.join(pieces)}{missing}{''.join(figures)}</svg>"
        )


def swatch(slot: int) -> SafeString:
    """Draw a component's colour and pattern as a small square for a legend or a table."""
    return mark_safe(  # noqa: S308  figures only
        '<svg class="swatch" width="16" height="16" aria-hidden="true">'
        + _filled(slot, 'x="1" y="1" width="14" height="14"')
        + "</svg>"
    )


def _filled(slot: int, box: str) -> str:
    number = (slot - 1) % COMPONENT_SLOTS + 1
    return (
        f'<rect class="component-{number}" {box}/>'
        f'<rect class="component-edge" fill="url(#pattern-{number})" {box}/>'
    )


def _share(share: float) -> str:
    return f"{100 * share:.1f}".removesuffix(".0") + " %"
