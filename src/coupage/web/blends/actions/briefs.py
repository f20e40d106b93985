"""Writes about briefs, one transaction each."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from django.db import transaction

from coupage.errors import InputError
from coupage.web.blends.limits import limit_text
from coupage.web.blends.models import Brief, BriefLimit, Want
from coupage.web.blends.serving import want_text
from coupage.web.common.revisions import take_revision
from coupage.web.people import history
from coupage.web.people.models import Person

__all__ = ["add_brief", "change_brief"]

BRIEF_FIELDS = (
    "name",
    "service",
    "cost_cap",
    "max_components",
    "min_share_ppm",
    "lasting",
    "lasting_weeks",
    "note",
)


@transaction.atomic
def add_brief(
    *,
    brief: Brief,
    wants: Sequence[Want],
    limits: Sequence[BriefLimit] = (),
    by: Person,
    at: dt.datetime,
) -> Brief:
    """Save a new brief with its wants and limits."""
    brief.full_clean()
    brief.save()
    _write_wants(brief, wants)
    _write_limits(brief, limits)
    history.record(brief, verb="wrote", by=by, at=at, after=_brief_now(brief))
    return brief


@transaction.atomic
def change_brief(
    *,
    brief: Brief,
    wants: Sequence[Want],
    limits: Sequence[BriefLimit] | None = None,
    revision: int,
    by: Person,
    at: dt.datetime,
) -> Brief:
    """Save a brief's changed fields and wants, unless somebody else saved it meanwhile.

    Without ``limits`` those it has stay.
    """
    before = _brief_now(Brief.objects.get(pk=brief.pk))
    take_revision(Brief, brief.pk, revision)
    brief.full_clean()
    brief.save(update_fields=BRIEF_FIELDS)
    brief.wants.all().delete()
    _write_wants(brief, wants)
    if limits is not None:
        brief.limits.all().delete()
        _write_limits(brief, limits)
    history.record(brief, verb="changed", by=by, at=at, before=before, after=_brief_now(brief))
    return brief


def _write_wants(brief: Brief, wants: Sequence[Want]) -> None:
    if not wants:
        raise InputError("a brief needs at least one want; choose an attribute and its range")
    for want in wants:
        want.pk, want.brief = None, brief
        want.full_clean()
        want.save()


def _write_limits(brief: Brief, limits: Sequence[BriefLimit]) -> None:
    for limit in limits:
        limit.pk, limit.brief = None, brief
        limit.full_clean()
        limit.save()


def _brief_now(brief: Brief) -> dict[str, object]:
    wants = [
        want_text(want) + (" (must-have)" if want.must else "")
        for want in brief.wants.select_related("attribute")
    ]
    limits = [limit_text(limit) for limit in brief.limits.all()]
    found = history.snapshot(brief, BRIEF_FIELDS) | {"wants": wants}
    return found | ({"limits": limits} if limits else {})
