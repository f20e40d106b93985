"""Masses as the scale shows them, and two small words."""

from __future__ import annotations

import datetime as dt
from decimal import ROUND_HALF_EVEN, Decimal

from django import template
from django.utils import timezone

from coupage.units import GRAMS_PER_OZ, show_mass

register = template.Library()


@register.filter
def scale(grams: int | None, unit: str = "kg") -> str:
    """Write grams as a scale shows them: ``350 g``, ``4.500 kg``; ``9 lb 14.5 oz``."""
    if grams is None:
        return "–"
    if unit != "lb":
        return show_mass(grams, "kg", 3) if abs(grams) >= 1000 else f"{grams} g"
    ounces = (Decimal(grams) / GRAMS_PER_OZ).quantize(Decimal("0.1"), ROUND_HALF_EVEN)
    pounds, rest = divmod(abs(ounces), 16)
    sign = "−" if ounces < 0 else ""
    return f"{sign}{pounds} lb {rest.normalize():f} oz" if pounds else f"{sign}{rest:.1f} oz"


@register.filter
def signed(number: int) -> str:
    """Write a whole number with its sign, the true minus included."""
    return f"{number:+d}".replace("-", "−")


@register.filter
def days_old(moment: dt.datetime) -> int:
    """Return whole days from the day of a moment to today."""
    return (timezone.localdate() - timezone.localtime(moment).date()).days
