"""Writes about plans, one transaction each."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence

from django.db import transaction

from coupage.errors import InputError
from coupage.units import PPM, show_share
from coupage.web.batches.models import Batch, Verdict
from coupage.web.coffees.models import Approach
from coupage.web.common.revisions import take_revision
from coupage.web.cuppings.actions import samples as sample_actions
from coupage.web.cuppings.actions import setup
from coupage.web.cuppings.models import Attribute, Cupping, Sample, Taster
from coupage.web.people import history
from coupage.web.people.models import Person
from coupage.web.trials.design import Asked, Found
from coupage.web.trials.models import MOST_SAMPLES, Plan, PlanCoffee, PlanGroup, Trial, TrialShare

__all__ = [
    "add_plan",
    "add_trial",
    "change_plan",
    "change_trial",
    "choose_again",
    "remove_trial",
    "send_plan",
    "void_plan",
]

PLAN_FIELDS = (
    "name",
    "purpose",
    "brief",
    "order",
    "samples",
    "repeats",
    "reference",
    "tasters",
    "cups",
    "step_ppm",
    "keep",
    "one_approach",
    "difference",
    "note",
)


@transaction.atomic
def add_plan(*, asked: Asked, found: Found, by: Person, at: dt.datetime) -> Plan:
    """Save a new plan with its limits and the blends that the search chose."""
    plan = asked.plan
    plan.made_by, plan.made_at = by, at
    plan.full_clean()
    plan.save()
    _write_limits(asked)
    _write_trials(asked, found)
    history.record(plan, verb="planned", by=by, at=at, after=_now(plan))
    return plan


@transaction.atomic
def change_plan(*, asked: Asked, found: Found, revision: int, by: Person, at: dt.datetime) -> Plan:
    """Ask a plan differently: new limits and numbers, and blends chosen anew.

    Raises
    ------
    StaleError
        When somebody else changed the plan meanwhile.
    InputError
        When it was sent to a table already.
    """
    plan = asked.plan
    before = _now(_open(plan.pk, revision))
    plan.full_clean()
    plan.save(update_fields=PLAN_FIELDS)
    _take_trials(plan)
    plan.coffees.all().delete()
    plan.groups.all().delete()
    _write_limits(asked)
    _write_trials(asked, found)
    history.record(plan, verb="asked anew", by=by, at=at, before=before, after=_now(plan))
    return plan


@transaction.atomic
def choose_again(*, asked: Asked, found: Found, revision: int, by: Person, at: dt.datetime) -> Plan:
    """Put freshly chosen blends in place of those of the plan, changes by hand included."""
    plan = _open(asked.plan.pk, revision)
    before = _now(plan)
    _take_trials(plan)
    _write_trials(asked, found)
    history.record(plan, verb="chose blends for", by=by, at=at, before=before, after=_now(plan))
    return plan


@transaction.atomic
def change_trial(
    *, trial: Trial, shares: Mapping[PlanCoffee, int], revision: int, by: Person, at: dt.datetime
) -> Trial:
    """Change one blend by hand. That it obeys the limits is for the caller's `Room` to say."""
    plan = _open(trial.plan_id, revision)
    before = _now(plan)
    Trial.objects.filter(pk=trial.pk).update(sealed=False)
    trial.shares.all().delete()
    _write_shares(trial, shares)
    history.record(plan, verb="changed a blend of", by=by, at=at, before=before, after=_now(plan))
    return trial


@transaction.atomic
def add_trial(
    *,
    plan: Plan,
    shares: Mapping[PlanCoffee, int],
    revision: int,
    by: Person,
    at: dt.datetime,
    number: int | None = None,
) -> Trial:
    """Add one blend by hand, under a number that is free (the next one when none is asked for)."""
    plan = _open(plan.pk, revision)
    before = _now(plan)
    taken = set(plan.trials.values_list("number", flat=True))
    free = [n for n in range(1, MOST_SAMPLES + 1) if n not in taken]
    if not free:
        raise InputError(f"a plan holds up to {MOST_SAMPLES} samples; leave one out first")
    wanted = max(taken, default=0) + 1 if number is None else number
    trial = Trial.objects.create(plan=plan, number=wanted if wanted in free else free[0])
    _write_shares(trial, shares)
    history.record(plan, verb="added a blend to", by=by, at=at, before=before, after=_now(plan))
    return trial


@transaction.atomic
def remove_trial(*, trial: Trial, revision: int, by: Person, at: dt.datetime) -> Plan:
    """Leave one blend out."""
    plan = _open(trial.plan_id, revision)
    if plan.trials.count() < 3:
        raise InputError("a plan needs at least two samples; change this one instead")
    before = _now(plan)
    Trial.objects.filter(pk=trial.pk).update(sealed=False)
    trial.delete()
    history.record(plan, verb="left a blend out of", by=by, at=at, before=before, after=_now(plan))
    return plan


@transaction.atomic
def void_plan(*, plan: Plan, void: bool, by: Person, at: dt.datetime) -> Plan:
    """Put a plan away, or take it out again."""
    there = Plan.objects.select_for_update().get(pk=plan.pk)
    if there.void == void:
        raise InputError(f"{there} is {'put away' if void else 'in use'} already")
    there.void = void
    there.save(update_fields=["void"])
    history.record(there, verb="put away" if void else "took out again", by=by, at=at)
    return there


@transaction.atomic
def send_plan(
    *,
    plan: Plan,
    cupping: Cupping,
    passes: Sequence[str],
    attributes: Sequence[Attribute],
    tasters: Sequence[Taster],
    batches: Mapping[Approach, Batch],
    revision: int,
    by: Person,
    at: dt.datetime,
) -> Cupping:
    """Set a table up with exactly these blends, weighed from these batches.

    Equal blends become one sample with more cups: that is what makes a repeat hidden.

    Raises
    ------
    InputError
        When the plan was sent before, or a batch is missing, void or on hold.
    """
    plan = _open(plan.pk, revision)
    trials = list(plan.trials.prefetch_related("shares__coffee__approach__lot"))
    _check_batches(trials, batches)
    setup.add_cupping(cupping=cupping, passes=passes, attributes=attributes, by=by, at=at)
    poured: dict[tuple[tuple[int, int], ...], tuple[Sample, int]] = {}
    for trial in trials:
        parts = {batches[s.coffee.approach]: s.share_ppm for s in trial.shares.all()}
        key = tuple(sorted((batch.pk, share) for batch, share in parts.items()))
        sample, cups = poured.get(key, (None, 0))
        if sample is None:
            sample = _sample(plan, trial, parts, cupping.held_at.date(), by, at)
        poured[key] = sample, cups + plan.cups
        Trial.objects.filter(pk=trial.pk).update(sample=sample)
    for sample, cups in poured.values():
        setup.pour_sample(cupping=cupping, sample=sample, cups=cups, by=by, at=at)
    for taster in tasters:
        setup.add_seat(cupping=cupping, taster=taster, by=by, at=at)
    plan.cupping, plan.sent_at = cupping, at
    plan.save(update_fields=["cupping", "sent_at"])
    history.record(plan, verb="sent to the table", by=by, at=at, note=str(cupping))
    return cupping


# --- inside --------------------------------------------------------------------------------------


def _open(pk: int, revision: int) -> Plan:
    """Claim the next revision of a plan that is still being made."""
    take_revision(Plan, pk, revision)
    plan = Plan.objects.select_related("cupping").get(pk=pk)
    if plan.cupping is not None and not plan.cupping.void:
        raise InputError(
            f"{plan} was sent to the table {plan.cupping} already; what stands there is changed "
            "there, or plan another trial"
        )
    if plan.void:
        raise InputError(f"{plan} is put away; take it out again first")
    return plan


def _write_limits(asked: Asked) -> None:
    for order, coffee in enumerate(asked.coffees, start=1):
        coffee.pk, coffee.plan, coffee.order = None, asked.plan, order
        coffee.full_clean()
        coffee.save()
    for group in asked.groups:
        group.pk, group.plan = None, asked.plan
        group.full_clean()
        group.save()


def _write_trials(asked: Asked, found: Found) -> None:
    plan = asked.plan
    trials = Trial.objects.bulk_create(
        Trial(plan=plan, number=number) for number in range(1, len(found.trials) + 1)
    )
    TrialShare.objects.bulk_create(
        TrialShare(trial=trial, coffee=coffee, share_ppm=share)
        for trial, shares in zip(trials, found.trials, strict=True)
        for coffee, share in zip(asked.coffees, shares, strict=True)
        if share
    )
    # By update, so that the database adds up the shares.
    Trial.objects.filter(plan=plan).update(sealed=True)
    plan.chosen = [list(shares) for shares in found.trials]
    Plan.objects.filter(pk=plan.pk).update(chosen=plan.chosen)


def _write_shares(trial: Trial, shares: Mapping[PlanCoffee, int]) -> None:
    total = sum(shares.values())
    if total != PPM:
        raise InputError(f"the shares add up to {show_share(total)}; they must make 100 %")
    TrialShare.objects.bulk_create(
        TrialShare(trial=trial, coffee=coffee, share_ppm=share)
        for coffee, share in shares.items()
        if share
    )
    Trial.objects.filter(pk=trial.pk).update(sealed=True)


def _take_trials(plan: Plan) -> None:
    plan.trials.update(sealed=False)
    plan.trials.all().delete()


def _check_batches(trials: Sequence[Trial], batches: Mapping[Approach, Batch]) -> None:
    if not trials:
        raise InputError("there is no blend to send; choose again first")
    for approach in {s.coffee.approach for trial in trials for s in trial.shares.all()}:
        batch = batches.get(approach)
        if batch is None:
            raise InputError(
                f"there is no batch of {approach} to weigh from; roast one first, or leave that "
                "coffee out"
            )
        if batch.void or batch.verdict == Verdict.HOLD:
            raise InputError(f"{batch} is on hold or void; choose another batch")


def _sample(
    plan: Plan, trial: Trial, parts: Mapping[Batch, int], on: dt.date, by: Person, at: dt.datetime
) -> Sample:
    if len(parts) == 1:
        return sample_actions.sample_of_batch(batch=next(iter(parts)), on=on, by=by, at=at)
    stem = f"{plan.name}, {trial.number}"[:70]
    label, n = stem, 2
    while Sample.objects.filter(label=label).exists():
        label, n = f"{stem} ({n})", n + 1
    return sample_actions.make_sample(
        label=label, parts=parts, on=on, by=by, at=at, note=f"Planned as {trial}."
    )


def _now(plan: Plan) -> dict[str, object]:
    """Say a plan for the history."""
    groups = plan.groups.all()
    return {
        "to": plan.get_purpose_display(),
        "brief": str(plan.brief or "none"),
        "table": f"{plan.samples} samples, {plan.tasters} tasters, cups {plan.cups}",
        "limits": "; ".join(
            [
                *map(_coffee_words, plan.coffees.select_related("approach__lot")),
                *map(_group_words, groups),
            ]
        ),
        "blends": "; ".join(
            " + ".join(f"{show_share(s.share_ppm)} {s.coffee.approach}" for s in trial.shares.all())
            for trial in plan.trials.prefetch_related("shares__coffee__approach__lot")
        ),
    }


def _coffee_words(coffee: PlanCoffee) -> str:
    return _range_words(str(coffee.approach), coffee.low_ppm, coffee.high_ppm)


def _group_words(group: PlanGroup) -> str:
    return _range_words(group.rule, group.low_ppm, group.high_ppm)


def _range_words(what: str, low: int | None, high: int | None) -> str:
    return f"{what} {show_share(low or 0)} to {show_share(PPM if high is None else high)}"
