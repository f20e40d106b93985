"""How a batch ages: the plan, each attribute against age, and the rest that serves a brief best."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from django.http import Http404
from django.utils import timezone

from coupage.errors import InputError
from coupage.recipe import chance_on_brief
from coupage.web.batches.models import Batch
from coupage.web.blends.models import Brief
from coupage.web.blends.serving import room_brief
from coupage.web.common.charts import ProfileChart, ProfileRow
from coupage.web.common.drawing import Doubt
from coupage.web.common.requests import Request
from coupage.web.cuppings.models import Attribute
from coupage.web.cuppings.pages.said import chance_text, joined, signed
from coupage.web.keeping.drawing import AgeChart
from coupage.web.keeping.models import AgeingPlan, Retained
from coupage.web.keeping.queries import Planned, ages_tasted, due_recuppings, planned_days, retained
from coupage.web.keeping.tasting import AgeSeries, age_series

__all__ = ["AgeingIndex", "AgeingPage", "ageing_index", "ageing_page"]


@dataclass(frozen=True, slots=True)
class PlanRow:
    plan: AgeingPlan
    days: tuple[Planned, ...]
    done: int


@dataclass(frozen=True, slots=True)
class AgeingIndex:
    plans: tuple[PlanRow, ...]
    retained: tuple[tuple[Retained, int], ...]
    sentence: str


@dataclass(frozen=True, slots=True)
class AttributePart:
    name: str
    picture: AgeChart
    said: str


@dataclass(frozen=True, slots=True)
class RestRow:
    age: str
    chance: str
    best: bool


@dataclass(frozen=True, slots=True)
class AgeingPage:
    batch: Batch
    plan: AgeingPlan | None
    days: tuple[Planned, ...]
    sentence: str
    note: str
    attributes: tuple[AttributePart, ...]
    slopes: ProfileChart | None
    briefs: tuple[Brief, ...]
    brief: Brief | None
    rest: tuple[RestRow, ...]
    window: str
    retained: tuple[Retained, ...]


def ageing_index() -> AgeingIndex:
    """Return all plans under way, and what is put by."""
    now = timezone.now()
    plans = list(
        AgeingPlan.objects.filter(batch__void=False).select_related(
            "batch__approach_version__approach__lot", "by"
        )
    )
    ages = ages_tasted(plan.batch for plan in plans)
    rows = tuple(
        PlanRow(plan, days := planned_days(plan, now, ages), sum(d.state == "done" for d in days))
        for plan in plans
    )
    due = due_recuppings(now)
    today = timezone.localdate(now)
    kept = tuple((row, (today - row.since).days) for row in retained())
    if due:
        names = joined([f"{d.batch.number} (day {d.day})" for d in due])
        waits = "waits" if len(due) == 1 else "wait"
        sentence = f"{names} {waits} to be cupped again."
    elif rows:
        sentence = "Nothing is due to be cupped again today."
    else:
        sentence = "No sample is being watched as it ages."
    return AgeingIndex(rows, kept, sentence)


def ageing_page(request: Request, pk: int) -> AgeingPage:
    """Return how a batch ages, or 404 when there is no such batch."""
    batch = (
        Batch.objects.select_related("approach_version__approach__lot", "machine")
        .filter(pk=pk)
        .first()
    )
    if batch is None:
        raise Http404("There is no such batch.")
    plan = AgeingPlan.objects.filter(batch=batch).select_related("by").first()
    days = planned_days(plan, timezone.now()) if plan else ()
    series = age_series(batch)
    briefs = tuple(Brief.objects.filter(archived=False).prefetch_related("wants__attribute"))
    brief = _asked_brief(request, briefs)
    rest, window = _rest(series, brief) if series and brief else ((), "")
    attributes = _attributes(series) if series else ()
    kept = Retained.objects.filter(batch=batch).select_related("by")
    return AgeingPage(
        batch=batch,
        plan=plan,
        days=days,
        sentence=_sentence(batch, series),
        note=_note(series),
        attributes=attributes,
        slopes=_slopes(series) if series else None,
        briefs=briefs,
        brief=brief,
        rest=rest,
        window=window,
        retained=tuple(kept),
    )


def _asked_brief(request: Request, briefs: tuple[Brief, ...]) -> Brief | None:
    asked = request.GET.get("brief", "")
    for brief in briefs:
        if str(brief.pk) == asked:
            return brief
    return briefs[0] if briefs else None


def _intensities() -> dict[str, float]:
    return {a.name: float(a.tolerance) for a in Attribute.objects.filter(kind="intensity")}


def _sentence(batch: Batch, series: AgeSeries | None) -> str:
    if series is None:
        return f"{batch} was not tasted at two ages yet."
    tolerance = _intensities()
    first, last = series.profile(0), series.profile(len(series.ages) - 1)
    span = series.ages[-1] - series.ages[0]
    moved = []
    for name in series.beliefs.attributes:
        if name not in tolerance:
            continue
        change = last[name].mean - first[name].mean
        doubt = float(np.hypot(last[name].sd, first[name].sd))
        if abs(change) > 1.6448536269514722 * doubt:
            moved.append(f"{name} {signed(change)}")
    if not moved:
        return (
            f"From day {series.ages[0]:.0f} to {series.ages[-1]:.0f} no attribute moved for sure."
        )
    return f"In {span:.0f} days {joined(moved)}."


def _note(series: AgeSeries | None) -> str:
    if series is None:
        return ""
    days = [f"{age:.0f}" for age in series.ages]
    return (
        f"Tasted at day {joined(days)}. Changes are told where the 90 % intervals leave no doubt."
    )


def _attributes(series: AgeSeries) -> tuple[AttributePart, ...]:
    intensities = _intensities()
    profiles = [series.profile(i) for i in range(len(series.ages))]
    parts = []
    for name in series.beliefs.attributes:
        if name not in intensities:
            continue
        points = tuple(
            (age, profile[name]) for age, profile in zip(series.ages, profiles, strict=True)
        )
        change = points[-1][1].mean - points[0][1].mean
        said = f"{signed(change)} points over {series.ages[-1] - series.ages[0]:.0f} days"
        parts.append(AttributePart(name, AgeChart(name, points), said))
    return tuple(parts)


def _slopes(series: AgeSeries) -> ProfileChart:
    intensities = _intensities()
    rows, reach = [], 0.05
    for name, slope in series.slope.items():
        if name not in intensities:
            continue
        doubt = Doubt(
            7 * slope.mean, 7 * slope.low50, 7 * slope.high50, 7 * slope.low90, 7 * slope.high90
        )
        reach = max(reach, abs(doubt.low90), abs(doubt.high90))
        rows.append(ProfileRow(name, (doubt,)))
    return ProfileChart(
        rows, ("points a week",), "Points gained or lost in a week", -reach, reach, 2
    )


def _rest(series: AgeSeries, brief: Brief) -> tuple[tuple[RestRow, ...], str]:
    """The chance to serve the brief at each age that was tasted, and the stretch that is best."""
    try:
        wants = room_brief(brief)
        missing = [a for a in wants.attributes if a not in series.beliefs.attributes]
        if missing:
            return (), f"{joined(missing)} was not rated on these tables."
        few = series.beliefs.restrict(list(series.names))
        chances = [float(c) for c in chance_on_brief(wants, few, np.eye(len(series.names)))]
    except InputError as problem:
        return (), f"It cannot be told: {problem}."
    top = max(chances)
    # Ages about as good as the best: within five hundredths of it, on an unbroken stretch.
    peak = chances.index(top)
    low = high = peak
    while low > 0 and chances[low - 1] >= top - 0.05:
        low -= 1
    while high + 1 < len(chances) and chances[high + 1] >= top - 0.05:
        high += 1
    rows = tuple(
        RestRow(f"day {age:.0f}", chance_text(c), low <= i <= high)
        for i, (age, c) in enumerate(zip(series.ages, chances, strict=True))
    )
    first, last = series.ages[low], series.ages[high]
    where = f"day {first:.0f}" if low == high else f"day {first:.0f} to {last:.0f}"
    return rows, (
        f"Of the ages tasted, {where} serves {brief.name} best, with a chance of "
        f"{chance_text(top)} that its must-haves hold."
    )
