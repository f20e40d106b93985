"""Writes about keeping, one transaction each."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from django.db import transaction

from coupage.errors import InputError
from coupage.web.batches.models import Batch, Machine
from coupage.web.coffees.models import Approach
from coupage.web.common.revisions import take_revision
from coupage.web.keeping.models import AgeingPlan, Baseline, Retained
from coupage.web.people import history
from coupage.web.people.models import Person

__all__ = [
    "LONGEST_DAY",
    "MOST_DAYS",
    "end_ageing",
    "end_retained",
    "plan_ageing",
    "reset_baseline",
    "retain",
]

MOST_DAYS, LONGEST_DAY = 20, 365


@transaction.atomic
def reset_baseline(
    *,
    approach: Approach,
    machine: Machine | None,
    since: dt.date,
    size: int,
    reason: str,
    by: Person,
    at: dt.datetime,
) -> Baseline:
    """Begin the charts of an approach on a machine anew from a day on.

    Raises
    ------
    InputError
        When no reason is given, or the very same decision stands already.
    """
    if not reason.strip():
        raise InputError("say why the charts begin anew; the next signal is read against it")
    same = Baseline.objects.filter(approach=approach, machine=machine, since=since, size=size)
    if same.exists():
        raise InputError(f"the charts begin on {since.isoformat()} already")
    baseline = Baseline(
        approach=approach,
        machine=machine,
        since=since,
        size=size,
        reason=reason.strip(),
        by=by,
        at=at,
    )
    baseline.full_clean()
    baseline.save()
    history.record(
        approach,
        verb="began the charts anew of",
        by=by,
        at=at,
        note=reason.strip(),
        after={"since": since.isoformat(), "machine": str(machine or ""), "size": size},
    )
    return baseline


def _checked(days: Sequence[int]) -> list[int]:
    ordered = sorted(set(days))
    if not ordered:
        raise InputError("name at least one day, such as 2, 5, 9, 14")
    if len(ordered) > MOST_DAYS or ordered[0] < 1 or ordered[-1] > LONGEST_DAY:
        raise InputError(
            f"{ordered} cannot be planned; up to {MOST_DAYS} days from 1 to {LONGEST_DAY}"
        )
    return ordered


@transaction.atomic
def plan_ageing(
    *,
    batch: Batch,
    days: Sequence[int],
    by: Person,
    at: dt.datetime,
    note: str = "",
    revision: int | None = None,
) -> AgeingPlan:
    """Plan re-cuppings of a batch's retained sample, or change the plan.

    Raises
    ------
    InputError
        When the days cannot be planned, the batch is void, or (a StaleError) somebody else has
        changed the plan.
    """
    ordered = _checked(days)
    if batch.void:
        raise InputError(f"{batch} is void; take that back first")
    plan = AgeingPlan.objects.filter(batch=batch).first()
    if plan is None:
        plan = AgeingPlan.objects.create(batch=batch, days=ordered, note=note, by=by, at=at)
        history.record(batch, verb="planned the ageing of", by=by, at=at, after={"days": ordered})
        return plan
    before = {"days": plan.days, "ended": plan.ended}
    take_revision(AgeingPlan, plan.pk, revision or 0)
    plan.days, plan.note, plan.ended = ordered, note, False
    plan.save(update_fields=["days", "note", "ended"])
    after = {"days": ordered, "ended": False}
    history.record(batch, verb="planned the ageing of", by=by, at=at, before=before, after=after)
    return plan


@transaction.atomic
def end_ageing(*, plan: AgeingPlan, ended: bool, by: Person, at: dt.datetime) -> None:
    """Stop reminding of a plan, or take it up again."""
    if not AgeingPlan.objects.filter(pk=plan.pk, ended=not ended).update(ended=ended):
        raise InputError(f"the plan is {'ended' if ended else 'under way'} already")
    verb = "ended the ageing plan of" if ended else "took up the ageing plan again of"
    history.record(plan.batch, verb=verb, by=by, at=at)


@transaction.atomic
def retain(
    *,
    batch: Batch,
    kept: str,
    since: dt.date,
    place: str,
    reason: str,
    by: Person,
    at: dt.datetime,
) -> Retained:
    """Put a sample by as the reference of its approach; the one before ends that day.

    Raises
    ------
    InputError
        When no reason is given, the batch is on hold or void, or it is put by already.
    """
    if not reason.strip():
        raise InputError("say why this batch is the reference")
    if batch.void or batch.verdict == "hold":
        raise InputError(f"{batch} is {'void' if batch.void else 'on hold'}; choose another")
    approach = batch.approach_version.approach
    now = Retained.objects.select_for_update().filter(approach=approach, ended_on__isnull=True)
    if now.filter(batch=batch, since=since, kept=kept).exists():
        raise InputError(f"{batch} is put by already")
    replaced = now.first()
    now.update(ended_on=since)
    row = Retained(
        approach=approach,
        batch=batch,
        kept=kept,
        since=since,
        place=place.strip(),
        reason=reason.strip(),
        by=by,
        at=at,
    )
    row.full_clean()
    row.save()
    history.record(
        approach,
        verb="put by a reference of" if replaced is None else "renewed the reference of",
        by=by,
        at=at,
        note=reason.strip(),
        before={} if replaced is None else {"batch": replaced.batch.number},
        after={"batch": batch.number, "kept": kept, "since": since.isoformat()},
    )
    return row


@transaction.atomic
def end_retained(*, retained: Retained, on: dt.date, by: Person, at: dt.datetime) -> None:
    """Say that a retained reference is used up."""
    waiting = Retained.objects.filter(pk=retained.pk, ended_on__isnull=True)
    if not waiting.update(ended_on=on):
        raise InputError("it is used up already")
    history.record(
        retained.approach,
        verb="used up the reference of",
        by=by,
        at=at,
        before={"batch": retained.batch.number},
    )
