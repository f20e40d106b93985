"""The list of plans."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Q

from coupage.web.common.listing import Choice, Filter, Listing
from coupage.web.common.requests import Request
from coupage.web.trials import queries
from coupage.web.trials.models import Plan

__all__ = ["PlanRow", "PlansPage", "plans_page", "state_of"]

_SHORT = {
    "I": "how blends taste",
    "D": "coffees and pairings",
    "decision": "which recipe serves",
}


@dataclass(frozen=True, slots=True)
class PlanRow:
    plan: Plan
    purpose: str
    state: str
    tone: str


@dataclass(frozen=True, slots=True)
class PlansPage:
    plans: Listing[PlanRow]
    none_yet: bool


def plans_page(request: Request) -> PlansPage:
    """Return the plans that the address asks for."""
    plans = Listing.of(
        request,
        queries.plans(),
        search=("name", "note", "brief__name", "cupping__name"),
        sorts={
            "name": "name",
            "brief": ("brief__name", "name"),
            "samples": ("trial_count", "name"),
            "made": ("made_at", "id"),
        },
        default="-made",
        filters=(
            Filter(
                "kept",
                "Show",
                (
                    Choice("draft", "Not sent yet", Q(void=False, cupping__isnull=True)),
                    Choice("sent", "Sent to a table", Q(void=False, cupping__isnull=False)),
                    Choice("use", "Both", Q(void=False)),
                    Choice("away", "Put away", Q(void=True)),
                ),
                default="use",
            ),
        ),
    )
    return PlansPage(plans.map(_row), not plans.found and not Plan.objects.exists())


def _row(plan: Plan) -> PlanRow:
    state, tone = state_of(plan)
    return PlanRow(plan, _SHORT[plan.purpose], state, tone)


def state_of(plan: Plan) -> tuple[str, str]:
    """Return where a plan stands, and the tone of its badge."""
    if plan.void:
        return "put away", "quiet"
    if plan.cupping is None or plan.cupping.void:
        return "not sent yet", "attention"
    return "sent to a table", "action"
