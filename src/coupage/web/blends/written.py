"""Recipes written in an address or by hand.

In an address ``12-45.7-55`` is 45 % of approach 12 and 55 % of approach 7.

Per cent with up to four digits behind a comma are parts per million exactly; the decimal mark is a
comma, because the full stop parts the coffees.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from coupage.errors import InputError
from coupage.units import PPM, parse_number
from coupage.web.coffees.models import Approach

__all__ = ["read_recipe", "read_typed", "write_recipe"]

_PART = re.compile(r"(\d{1,17})-(\d{1,3})(?:,(\d{1,4}))?", re.ASCII)
_MOST = 20
# A comma parts two coffees where a number follows; one inside a name or a number does not.
_NEXT = r"[\d.,]+\s*%?\s+\D"
_BETWEEN = re.compile(rf"[;\n]|,(?=\s+{_NEXT})|(?<=\D),(?={_NEXT})|\s+and\s+(?=\d)")
_TYPED = re.compile(r"\s*([\d.,]+)\s*%?\s+(\S.*?)\s*")


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


def read_typed(text: str, offered: Sequence[Approach]) -> dict[Approach, int]:
    """Read a recipe as people write it: ``45 % Amber Ridge (light), 55 % Birch Fall``.

    A name may be cut short as long as it fits one coffee; an address' own writing is read too.

    Raises
    ------
    InputError
        When a piece is not a share and a name, a name fits none or several, a coffee stands
        twice, or the shares do not add up to 100 %.
    """
    if _PART.fullmatch(text.strip().split(".")[0]):
        return read_recipe(text.strip())
    found: dict[Approach, int] = {}
    for piece in filter(str.strip, _BETWEEN.split(text)):
        match = _TYPED.fullmatch(piece)
        if match is None:
            raise InputError(
                f"{piece.strip()[:40]!r} is not a share and a coffee; write it like "
                "45 % Amber Ridge (light)"
            )
        approach = _named(match[2], offered)
        if approach in found:
            raise InputError(f"{approach} stands here twice; add it up")
        found[approach] = int(parse_number(match[1], "share") * (PPM // 100))
    if sum(found.values()) != PPM:
        raise InputError(
            f"the shares add up to {sum(found.values()) / 10_000:g} %; they must add up to 100 %"
        )
    return {approach: ppm for approach, ppm in found.items() if ppm}


def _named(name: str, offered: Sequence[Approach]) -> Approach:
    wanted = name.casefold()
    fitting = [a for a in offered if str(a).casefold() == wanted] or [
        a for a in offered if str(a).casefold().startswith(wanted)
    ]
    if len(fitting) == 1:
        return fitting[0]
    if fitting:
        raise InputError(f"{name!r} may be {', '.join(map(str, fitting[:4]))}; write more of it")
    raise InputError(f"there is no coffee {name!r} in use; write its name as on its page")


def write_recipe(shares: Mapping[Approach, int]) -> str:
    """Write a recipe for an address; :func:`read_recipe` reads it."""
    return ".".join(f"{a.pk}-{_percent(ppm)}" for a, ppm in shares.items())


def _percent(ppm: int) -> str:
    whole, rest = divmod(ppm, 10_000)
    return f"{whole},{rest:04d}".rstrip("0").rstrip(",") if rest else str(whole)
