"""Writes about sizes and about how the roastery blends and labels."""

from __future__ import annotations

import datetime as dt

from django.db import transaction

from coupage.web.people import history
from coupage.web.people.models import Person
from coupage.web.production.gs1 import checked_gtin
from coupage.web.production.lot_code import check_pattern
from coupage.web.production.models import Pack, PackingRules

__all__ = ["add_pack", "change_pack", "change_rules"]

PACK_FIELDS = ("blend", "bag_g", "gtin", "per_box", "box_gtin")
RULE_FIELDS = (
    "lot_pattern",
    "letter_l",
    "best_before_days",
    "rest_days",
    "use_within_days",
    "tolerance_ppm",
    "missing_ppm",
    "blender_g",
    "step_g",
    "link_base",
)


def _checked(pack: Pack) -> None:
    pack.gtin = checked_gtin(pack.gtin) if pack.gtin else ""
    pack.box_gtin = checked_gtin(pack.box_gtin) if pack.box_gtin else ""
    pack.full_clean()


@transaction.atomic
def add_pack(*, pack: Pack, by: Person, at: dt.datetime) -> Pack:
    """Save a size in which a blend is sold."""
    _checked(pack)
    pack.save()
    history.record(pack, verb="added", by=by, at=at, after=history.snapshot(pack, PACK_FIELDS))
    return pack


@transaction.atomic
def change_pack(*, pack: Pack, by: Person, at: dt.datetime) -> Pack:
    """Save a size's changed numbers."""
    before = history.snapshot(Pack.objects.get(pk=pack.pk), PACK_FIELDS)
    _checked(pack)
    pack.save(update_fields=PACK_FIELDS)
    after = history.snapshot(pack, PACK_FIELDS)
    history.record(pack, verb="changed", by=by, at=at, before=before, after=after)
    return pack


@transaction.atomic
def change_rules(*, rules: PackingRules, by: Person, at: dt.datetime) -> PackingRules:
    """Save how the roastery blends and labels.

    Raises
    ------
    InputError
        When the pattern of lot codes would give one code twice.
    """
    check_pattern(rules.lot_pattern)
    kept, _ = PackingRules.objects.select_for_update().get_or_create(only=True)
    before = history.snapshot(kept, RULE_FIELDS)
    for field in RULE_FIELDS:
        setattr(kept, field, getattr(rules, field))
    kept.full_clean()
    kept.save()
    after = history.snapshot(kept, RULE_FIELDS)
    history.record(kept, verb="changed", by=by, at=at, before=before, after=after)
    return kept
