"""Limits on several coffees together: which coffees a rule names, and how it is said."""

from __future__ import annotations

from collections.abc import Iterable

from coupage.web.coffees.models import Approach, Lot, Process, Species

__all__ = ["choices", "members", "words", "words_for"]


def _facts(lot: Lot) -> dict[str, tuple[str, str]]:
    """Return what a lot can be grouped by: kind to value and words."""
    facts = {
        "process": (lot.process, f"{Process(lot.process).label.lower()} coffees"),
        "species": (lot.species, Species(lot.species).label.lower()),
        "origin": (lot.origin, f"coffees from {lot.origin}"),
        "lot": (str(lot.pk), f"{lot.name} by any approach"),
    }
    if lot.decaffeinated:
        facts["decaf"] = ("yes", "decaffeinated coffees")
    return facts


def choices(approaches: Iterable[Approach]) -> list[tuple[str, str]]:
    """Return the rules that these coffees give rise to, with the words for each.

    Lots are offered when they have several approaches, species when there are several.
    """
    found: dict[str, str] = {}
    approaches = list(approaches)
    lots = [approach.lot for approach in approaches]
    several = {lot.pk for lot in lots if sum(other.pk == lot.pk for other in lots) > 1}
    species = {lot.species for lot in lots}
    for kind in ("process", "decaf", "species", "origin", "lot"):
        for lot in lots:
            value, text = _facts(lot).get(kind, ("", ""))
            if not value or (kind == "lot" and lot.pk not in several):
                continue
            if kind == "species" and len(species) < 2:
                continue
            found.setdefault(f"{kind}:{value}", text)
    return list(found.items())


def members(rule: str, approaches: Iterable[Approach]) -> list[Approach]:
    """Return those of the coffees that a rule names."""
    kind, _, value = rule.partition(":")
    return [a for a in approaches if _facts(a.lot).get(kind, ("", ""))[0] == value]


def words(rule: str, approaches: Iterable[Approach]) -> str:
    """Say which coffees a rule names: ``washed coffees``."""
    kind, _, value = rule.partition(":")
    for approach in approaches:
        found = _facts(approach.lot).get(kind, ("", ""))
        if found[0] == value:
            return found[1]
    return value


def words_for(rule: str) -> str:
    """Say which coffees a rule on process, species or origin names, whatever coffees there are."""
    kind, _, value = rule.partition(":")
    return words(rule, [Approach(lot=Lot(**{kind: value}))])
