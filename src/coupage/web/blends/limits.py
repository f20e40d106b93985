"""The limits of a brief, handed to the computing room and said in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from coupage.errors import InputError
from coupage.mixture import Group, Region
from coupage.units import PPM, show_share
from coupage.web.blends.models import Brief, BriefLimit, Lasting
from coupage.web.blends.stock import Stock
from coupage.web.coffees import groups
from coupage.web.coffees.models import Approach

__all__ = ["Lasts", "lasting_text", "lasts_of", "limit_text", "region_of", "rule_of"]


def rule_of(limit: BriefLimit) -> str:
    """Return which coffees a limit names, as ``coffees.groups`` writes it."""
    return f"{limit.kind}:{limit.value}"


def limit_text(limit: BriefLimit) -> str:
    """Say a limit in words: ``at least 60 % washed coffees``."""
    who = groups.words_for(rule_of(limit))
    low, high = show_share(limit.low_ppm), show_share(limit.high_ppm)
    if limit.high_ppm == 0:
        return f"no {who}"
    if limit.low_ppm == limit.high_ppm:
        return f"just {low} {who}" if limit.low_ppm < PPM else f"only {who}"
    if limit.low_ppm == PPM:
        return f"only {who}"
    if limit.low_ppm and limit.high_ppm < PPM:
        return f"{low} to {high} {who}"
    return f"at least {low} {who}" if limit.low_ppm else f"at most {high} {who}"


def lasting_text(brief: Brief) -> str:
    """Say how long green must last: ``at least one coffee must last 8 weeks``; or nothing."""
    if not brief.lasting:
        return ""
    weeks = "1 week" if brief.lasting_weeks == 1 else f"{brief.lasting_weeks} weeks"
    return f"{brief.get_lasting_display()} {weeks}"


def region_of(brief: Brief, candidates: Mapping[str, Approach], more: tuple[Group, ...]) -> Region:
    """Return the recipes that a brief's limits on shares allow.

    Raises
    ------
    InfeasibleError
        When no recipe of the candidates obeys them.
    InputError
        When a limit asks for coffees of which there is no candidate.
    """
    found = []
    for limit in brief.limits.all():
        inside = groups.members(rule_of(limit), candidates.values())
        names = {name for name, approach in candidates.items() if approach in inside}
        if not names and limit.low_ppm:
            raise InputError(
                f"the brief wants {limit_text(limit)}, but none of the coffees looked at is one"
            )
        if names:
            found.append(
                Group(
                    dict.fromkeys(sorted(names), 1.0),
                    limit.low_ppm / PPM if limit.low_ppm else float("-inf"),
                    limit.high_ppm / PPM if limit.high_ppm < PPM else float("inf"),
                    name=groups.words_for(rule_of(limit)),
                )
            )
    return Region(list(candidates), groups=[*found, *more])


@dataclass(frozen=True, slots=True)
class Lasts:
    """What the green on hand allows: groups that every lot must keep, or uses of which one must."""

    every: tuple[Group, ...] = ()
    one: tuple[dict[str, float], ...] = ()


def lasts_of(
    brief: Brief, candidates: Mapping[str, Approach], stock: Stock, weekly_kg: float | None
) -> Lasts:
    """Return the limits by which green on hand lasts as long as the brief asks.

    Raises
    ------
    InputError
        When nothing says how much is sold in a week.
    """
    if not brief.lasting or brief.lasting_weeks is None:
        return Lasts()
    if not weekly_kg:
        raise InputError(
            f"the brief wants green on hand for {brief.lasting_weeks} weeks, but no blend for it "
            "says how much is sold in a week; write it on the page of the blend"
        )
    wanted_kg = brief.lasting_weeks * weekly_kg
    uses: dict[int, dict[str, float]] = {}
    for name, approach in candidates.items():
        green = stock.green_kg[approach.lot_id]
        use = wanted_kg / (1 - stock.loss[name]) / green if green > 0 else 1e9
        uses.setdefault(approach.lot_id, {})[name] = use
    if brief.lasting == Lasting.ONE:
        return Lasts(one=tuple(uses.values()))
    return Lasts(
        every=tuple(
            Group(use, float("-inf"), 1.0, name=f"of the green of {stock.lot_names[lot]}")
            for lot, use in uses.items()
        )
    )
