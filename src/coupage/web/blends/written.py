"""Recipes written in an address: ``12-45.7-55`` is 45 % of approach 12 and 55 % of approach 7.

Per cent with up to four digits behind a comma are parts per million exactly; the decimal mark is a
comma, because the full stop parts the coffees.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from coupage.errors import InputError
from coupage.units import PPM
from coupage.web.coffees.models import Approach

__all__ = ["read_recipe", "write_recipe"]

_PART = re.compile(r"(\d{1,17})-(\d{1,3})(?:,(\d{1,4}))?", re.ASCII)
_MOST = 20


def read_recipe(text: str) -> dict[Approach, int]:
    """Read a recipe from an address: approach to parts per million, in the order written.

    Coffees with 0 % are kept, so that a link may name coffees that are not in the cup.

    Raises
    ------
    InputError
        When it is no recipe, names a coffee that is not there, or does not add up to 100 %.
    """
    if not text:
        return {}
    found: dict[int, int] = {}
    for piece in text.split(".")[:_MOST]:
        match = _PART.fullmatch(piece)
        if match is None:
            raise InputError(f"this link holds no recipe ({piece[:20]!r}); start from one below")
        key, whole, rest = match.groups()
        found[int(key)] = int(whole) * 10_000 + int((rest or "").ljust(4, "0"))
    there = {a.pk: a for a in Approach.objects.filter(pk__in=found).select_related("lot")}
    if len(there) < len(found):
        raise InputError("a coffee of this link is gone; start from another recipe")
    if sum(found.values()) != PPM:
        raise InputError(
            f"the shares of this link add up to {sum(found.values()) / 10_000:g} %, not to 100 %; "
            "start from another recipe"
        )
    return {there[key]: ppm for key, ppm in found.items()}


def write_recipe(shares: Mapping[Approach, int]) -> str:
    """Write a recipe for an address; :func:`read_recipe` reads it."""
    return ".".join(f"{a.pk}-{_percent(ppm)}" for a, ppm in shares.items())


def _percent(ppm: int) -> str:
    whole, rest = divmod(ppm, 10_000)
    return f"{whole},{rest:04d}".rstrip("0").rstrip(",") if rest else str(whole)
