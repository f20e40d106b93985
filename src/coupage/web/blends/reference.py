"""A brief that begins with something that was tasted: "taste like this, within tolerance"."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal

from coupage.errors import InputError
from coupage.web.blends.models import Want
from coupage.web.cuppings.beliefs import beliefs_now, tolerances

__all__ = ["Like", "brief_like"]

_TENTH = Decimal("0.1")


@dataclass(frozen=True, slots=True)
class Like:
    """A name for the brief, and by attribute what the form of its want begins with."""

    name: str
    wants: dict[str, dict[str, object]]


def brief_like(shares: Mapping[str, float], name: str, within: Decimal) -> Like:
    """Return the wants of a brief that asks for the believed taste of a blend.

    Every attribute is wanted between its believed mean less and plus ``within`` times the
    roastery's tolerance for it, to a tenth of a point.

    Raises
    ------
    InputError
        When nothing is believed of one of its coffees.
    """
    beliefs = beliefs_now()
    unknown = [c for c in shares if beliefs is None or c not in beliefs.components]
    if beliefs is None or unknown:
        raise InputError(
            f"nothing is believed of {', '.join(unknown)}; taste it and reveal the table first"
        )
    profile = beliefs.restrict(list(shares)).profile(shares)
    reach = tolerances()
    wants: dict[str, dict[str, object]] = {}
    for attribute, belief in profile.items():
        mean, half = Decimal(belief.mean), Decimal(str(reach[attribute])) * within
        wants[attribute] = {
            "kind": Want.Kind.BETWEEN,
            "low": max(Decimal(0), _tenths(mean - half)),
            "high": min(Decimal(10), _tenths(mean + half)),
            "must": True,
        }
    return Like(f"Like {name}", wants)


def _tenths(value: Decimal) -> Decimal:
    return value.quantize(_TENTH, ROUND_HALF_EVEN)
