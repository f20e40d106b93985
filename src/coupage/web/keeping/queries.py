"""Reads that other apps ask of keeping."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from django.utils import timezone

from coupage.web.batches.losses import expected_losses
from coupage.web.batches.models import Batch
from coupage.web.cuppings.models import Cup, Cupping
from coupage.web.keeping.models import AgeingPlan, Retained

__all__ = [
    "DueRecupping",
    "Planned",
    "ages_tasted",
    "due_recuppings",
    "expected_losses",
    "planned_days",
    "retained",
]


@dataclass(frozen=True, slots=True)
class Planned:
    """One day of an ageing plan; ``state`` is done, due, missed or ahead."""

    day: int
    on: dt.date
    state: str
    table: Cupping | None = None


@dataclass(frozen=True, slots=True)
class DueRecupping:
    """A re-cupping that waits: which batch, at which age, since when."""

    batch: Batch
    day: int
    on: dt.date


Ages = dict[int, list[tuple[float, Cupping]]]


def ages_tasted(batches: Iterable[Batch]) -> Ages:
    """Return at which ages batches stood on tables, by their keys; trial blends do not count."""
    by_key = {batch.pk: batch for batch in batches}
    rows = list(
        Cup.objects.filter(
            cupping__void=False, sample__kind="batch", sample__parts__batch__in=by_key
        )
        .order_by()
        .values_list("sample__parts__batch_id", "cupping_id")
        .distinct()
    )
    tables = Cupping.objects.in_bulk({cupping for _, cupping in rows})
    found: Ages = {key: [] for key in by_key}
    for key, cupping in rows:
        table = tables[cupping]
        found[key].append(
            ((table.held_at - by_key[key].roasted_at).total_seconds() / 86_400, table)
        )
    return found


def near(day: int) -> float:
    """How far from its day a cupping still counts for it: a fifth, at least a day."""
    return max(1.0, 0.2 * day)


def planned_days(
    plan: AgeingPlan, now: dt.datetime, ages: Ages | None = None
) -> tuple[Planned, ...]:
    """Return every day of a plan with how it stands; ``ages`` where they were read already."""
    tasted = (ages if ages is not None else ages_tasted([plan.batch]))[plan.batch_id]
    roasted = timezone.localtime(plan.batch.roasted_at)
    today = timezone.localtime(now).date()
    found = []
    for i, day in enumerate(plan.days):
        on = (roasted + dt.timedelta(days=day)).date()
        close = [(abs(age - day), table) for age, table in tasted if abs(age - day) <= near(day)]
        if close:
            table = min(close, key=lambda pair: (pair[0], pair[1].pk))[1]
            found.append(Planned(day, on, "done", table))
            continue
        last = near(day)
        if i + 1 < len(plan.days):
            last = min(last, (plan.days[i + 1] - day) / 2)
        late = today > on + dt.timedelta(days=last)
        found.append(Planned(day, on, "ahead" if today < on else "missed" if late else "due"))
    return tuple(found)


def due_recuppings(now: dt.datetime) -> list[DueRecupping]:
    """Return the re-cuppings that wait now, for the page of the day."""
    plans = list(
        AgeingPlan.objects.filter(ended=False, batch__void=False).select_related(
            "batch__approach_version__approach__lot"
        )
    )
    ages = ages_tasted(plan.batch for plan in plans)
    return [
        DueRecupping(plan.batch, planned.day, planned.on)
        for plan in plans
        for planned in planned_days(plan, now, ages)
        if planned.state == "due"
    ]


def retained() -> list[Retained]:
    """Return the references that are put by now."""
    return list(
        Retained.objects.filter(ended_on__isnull=True).select_related(
            "approach__lot", "batch", "by"
        )
    )
