"""The page on which a run is planned: which batches, how much of each, in how many lifts."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass

from django.utils import timezone

from coupage.units import MassUnit, show_mass, show_share
from coupage.web.batches.models import Batch, Verdict
from coupage.web.blends.models import Recipe
from coupage.web.coffees.models import Approach
from coupage.web.common.dates import day_text
from coupage.web.production import queries
from coupage.web.production.lifts import Lifts, plan_lifts
from coupage.web.production.models import PackingRules, Run

__all__ = ["Candidate", "Component", "PlanPage", "last_rest", "plan_page"]

Source = Batch | Run


@dataclass(frozen=True, slots=True)
class Candidate:
    """A batch that may be used, with what speaks against it."""

    batch: Batch
    roasted: str
    age_days: int
    free_g: int
    ticked: bool
    planned_g: int
    note: str
    usable: bool


@dataclass(frozen=True, slots=True)
class Component:
    approach: Approach
    share: str
    per_lift: str
    candidates: tuple[Candidate, ...]
    short_g: int


@dataclass(frozen=True, slots=True)
class PlanPage:
    recipe: Recipe
    components: tuple[Component, ...]
    plan: Lifts[object, Source]
    rest: Run | None
    rest_per_lift: str
    total_g: int
    short: str

    @property
    def ready(self) -> bool:
        return not self.short


def last_rest(recipe: Recipe, on: dt.date) -> Run | None:
    """Return the newest run of the blend of which loose coffee is left and may be used."""
    left = queries.runs().filter(
        recipe__blend=recipe.blend_id, loose_g__gt=0, held=False, on__lte=on
    )
    return left.filter(state=Run.State.CLOSED).order_by("-on", "-id").first()


def plan_page(
    recipe: Recipe,
    *,
    total_g: int,
    blender_g: int,
    step_g: int,
    on: dt.date,
    use_rest: bool,
    ticked: Collection[int] | None,
    rules: PackingRules,
    unit: MassUnit,
) -> PlanPage:
    """Plan a run. ``ticked`` are the batches a person chose; None lets the page propose.

    Proposed are released batches inside the rest window, the oldest first; the others are shown
    with what speaks against them, and are used when somebody ticks them.
    """
    shares = {s.approach_id: s for s in recipe.shares.select_related("approach__lot")}
    found = queries.usable_batches(shares)
    free = _free(found)
    notes = {b.pk: _note(b, on, rules) for batches in found.values() for b in batches}
    chosen = {
        pk: {b.pk for b in batches if _is_chosen(b, notes[b.pk], ticked)}
        for pk, batches in found.items()
    }
    rest = last_rest(recipe, on) if use_rest else None
    plan: Lifts[object, Source] = plan_lifts(
        {pk: share.share_ppm for pk, share in shares.items()},
        total_g,
        blender_g=blender_g,
        step_g=step_g,
        sources={
            pk: [(b, free[b.pk]) for b in batches if b.pk in chosen[pk]]
            for pk, batches in found.items()
        },
        rest=("rest", rest, queries.runs().get(pk=rest.pk).loose_g) if rest else None,
    )
    planned = plan.planned_g()
    components = tuple(
        Component(
            approach=share.approach,
            share=show_share(share.share_ppm),
            per_lift=show_mass(plan.per_lift_g.get(pk, 0), unit, 3),
            candidates=tuple(
                _candidate(b, on, notes[b.pk], free[b.pk], b.pk in chosen[pk], planned.get(b, 0))
                for b in found[pk]
            ),
            short_g=plan.short_g.get(pk, 0),
        )
        for pk, share in shares.items()
    )
    missing = [f"{show_mass(c.short_g, unit, 3)} of {c.approach}" for c in components if c.short_g]
    return PlanPage(
        recipe=recipe,
        components=components,
        plan=plan,
        rest=rest,
        rest_per_lift=show_mass(plan.per_lift_g.get("rest", 0), unit, 3),
        total_g=plan.total_g,
        short=" and ".join(missing),
    )


def _free(found: dict[int, list[Batch]]) -> dict[int, int]:
    every = [batch for batches in found.values() for batch in batches]
    waiting = queries.reserved_g(every)
    return {b.pk: max(getattr(b, "on_hand_g", 0) - waiting.get(b.pk, 0), 0) for b in every}


def _age(batch: Batch, on: dt.date) -> int:
    return (on - timezone.localtime(batch.roasted_at).date()).days


def _note(batch: Batch, on: dt.date, rules: PackingRules) -> str:
    age = _age(batch, on)
    if batch.verdict == Verdict.HOLD:
        return "on hold"
    if age < 0:
        return "roasted after that day"
    if age < rules.rest_days:
        return f"rests until day {rules.rest_days}"
    if age > rules.use_within_days:
        return f"past day {rules.use_within_days}"
    if batch.verdict != Verdict.RELEASE:
        return batch.get_verdict_display()
    return ""


def _is_chosen(batch: Batch, note: str, ticked: Collection[int] | None) -> bool:
    if note in {"on hold", "roasted after that day"}:
        return False
    return not note if ticked is None else batch.pk in ticked


def _candidate(
    batch: Batch, on: dt.date, note: str, free_g: int, ticked: bool, planned_g: int
) -> Candidate:
    return Candidate(
        batch=batch,
        roasted=day_text(timezone.localtime(batch.roasted_at), year=False),
        age_days=_age(batch, on),
        free_g=free_g,
        ticked=ticked,
        planned_g=planned_g,
        note=note,
        usable=note not in {"on hold", "roasted after that day"},
    )
