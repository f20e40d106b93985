"""Pictures for pages: profiles, lines over time, compositions.

A page object makes one and its template writes ``{{ page.profile }}``: each renders itself with a
caption, a legend that names every mark or pattern, and its figures as text for readers without
the picture.
"""

from __future__ import annotations

from coupage.web.common.charts.composition import COMPONENT_SLOTS, Composition, Part, swatch
from coupage.web.common.charts.profile import ProfileChart, ProfileRow
from coupage.web.common.charts.trend import Level, TrendChart, TrendPoint, TrendSeries

__all__ = [
    "COMPONENT_SLOTS",
    "Composition",
    "Level",
    "Part",
    "ProfileChart",
    "ProfileRow",
    "TrendChart",
    "TrendPoint",
    "TrendSeries",
    "swatch",
]
