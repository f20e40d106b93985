"""Reads about plans and what was cupped of their coffees."""

from __future__ import annotations

from collections.abc import Sequence

from django.db.models import Count, Prefetch, QuerySet

from coupage.web.coffees.models import Approach
from coupage.web.cuppings.models import Cupping, Part
from coupage.web.trials.models import Plan, PlanCoffee, Trial, TrialShare

__all__ = ["cupped_already", "planned_shares", "plans", "whole_plans"]


def plans() -> QuerySet[Plan]:
    """Return all plans with how many blends and coffees each has."""
    return Plan.objects.select_related("brief", "cupping", "made_by").annotate(
        trial_count=Count("trials", distinct=True), coffee_count=Count("coffees", distinct=True)
    )


def whole_plans() -> QuerySet[Plan]:
    """Return all plans with their coffees, limits and trials."""
    shares = TrialShare.objects.select_related("coffee")
    return Plan.objects.select_related(
        "brief", "cupping", "made_by", "reference__blend"
    ).prefetch_related(
        Prefetch("coffees", queryset=PlanCoffee.objects.select_related("approach__lot")),
        "groups",
        "brief__wants__attribute",
        "reference__shares__approach__lot",
        Prefetch("trials", queryset=Trial.objects.prefetch_related(Prefetch("shares", shares))),
    )


def planned_shares(plan: int | None = None) -> QuerySet[TrialShare]:
    """Return the shares of one plan's blends, or of all plans that are not put away."""
    shares = TrialShare.objects.select_related("trial__plan", "coffee__approach__lot").order_by(
        "trial__plan__name", "trial__number", "coffee__order"
    )
    return (
        shares.filter(trial__plan__void=False)
        if plan is None
        else shares.filter(trial__plan_id=plan)
    )


def cupped_already(approaches: Sequence[Approach]) -> list[tuple[int, ...]]:
    """Return the blends of these coffees alone that revealed tables held.

    Parts per million in the order of the coffees, each blend once, batches of one coffee added up.
    """
    place = {approach.pk: i for i, approach in enumerate(approaches)}
    tables = Cupping.objects.filter(state=Cupping.State.REVEALED, void=False)
    rows = Part.objects.filter(sample__cups__cupping__in=tables).distinct()
    parts = rows.values_list("sample_id", "batch__approach_version__approach_id", "share_ppm")
    blends: dict[int, list[int]] = {}
    foreign = set()
    for sample, approach, share in parts:
        if approach not in place:
            foreign.add(sample)
            continue
        blends.setdefault(sample, [0] * len(place))[place[approach]] += share
    return sorted({tuple(b) for s, b in blends.items() if s not in foreign}, reverse=True)
