"""Ranges dragged on a scale, beside the boxes in which they are typed. A builtin of templates."""

from __future__ import annotations

from django import template
from django.forms import BoundField

register = template.Library()


@register.inclusion_tag("coupage/parts/bracket.html")
def bracket(
    low: BoundField,
    high: BoundField,
    name: str,
    least: float | str = 0,
    most: float | str = 100,
    step: float | str = 5,
    unit: str = "%",
) -> dict[str, object]:
    """Offer two handles on a scale for the boxes ``low`` and ``high``, named for a screen reader.

    An empty box stands at the end of the scale. Without script only the boxes show.
    """
    return {
        "low": low,
        "high": high,
        "name": name,
        "least": least,
        "most": most,
        "step": step,
        "unit": unit,
    }
