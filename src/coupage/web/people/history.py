"""The history that actions write, and the difference between before and after."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db import models

from coupage.web.people.models import Change, Person

__all__ = ["of", "record", "snapshot"]


def snapshot(thing: models.Model, fields: Iterable[str]) -> dict[str, Any]:
    """Return named fields of a row as plain JSON values, decimals with the digits they keep."""
    plain = {name: _as_kept(thing, name) for name in fields}
    result: dict[str, Any] = json.loads(json.dumps(plain, cls=DjangoJSONEncoder))
    return result


def _as_kept(thing: models.Model, name: str) -> Any:
    value, field = thing.serializable_value(name), thing._meta.get_field(name)
    if isinstance(field, models.DecimalField) and value is not None:
        return Decimal(value).quantize(Decimal(1).scaleb(-field.decimal_places))
    return value


def record(
    thing: models.Model,
    *,
    verb: str,
    by: Person | None,
    at: dt.datetime,
    before: dict[str, Any] | None = None,
    after: dict[str, Any] | None = None,
    note: str = "",
) -> Change:
    """Write one line of history about a row, keeping only the fields that differ."""
    before, after = before or {}, after or {}
    changed = [key for key in {*before, *after} if before.get(key) != after.get(key)]
    return Change.objects.create(
        at=at,
        by=by,
        verb=verb[:200],
        kind=thing._meta.label_lower,
        key=thing.pk,
        label=str(thing)[:200],
        note=note,
        before={key: before[key] for key in sorted(changed) if key in before},
        after={key: after[key] for key in sorted(changed) if key in after},
    )


def of(thing: models.Model) -> models.QuerySet[Change]:
    """Return the history of a row, newest first."""
    return Change.objects.filter(kind=thing._meta.label_lower, key=thing.pk).select_related("by")
